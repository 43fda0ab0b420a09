/* The facade of ranking: what serve/ and notify/ call.
 *
 * A `struct triage` is a snapshot of the rules, the catalogue and the models' parameters with its
 * caches; a reload makes a new one and drops the old. Thread-safe: several reader threads use one
 * at once, each with its own store. Answers are new JSON references. */
#ifndef ODDLOAF_RANK_TRIAGE_H
#define ODDLOAF_RANK_TRIAGE_H

#include "base/when.h"
#include "records/catalogue.h"
#include "store/complaint.h"
#include <jansson.h>

struct triage;
struct triage_top {
    char cause[64];
    double probability;
    int64_t as_of_ms;
    int complaints;
};

/* Loads causes, asks, ranking.json, quantities, places and models.json of `rules_dir`, checks
 * them whole and calls `report` for every fault. `tz` is borrowed and outlives the snapshot. */
int triage_new(const char *rules_dir, const struct tz *tz,
               void (*report)(void *arg, const struct error *fault), void *arg, struct triage **ret,
               struct error *err);
struct triage *triage_ref(struct triage *triage);
void triage_unref(struct triage *triage); /* NULL is fine */

const char *triage_hash(const struct triage *triage); /* "sha256:…" */
int triage_cause_count(const struct triage *triage);
const char *triage_cause_title(const struct triage *triage, const char *cause); /* NULL unknown */
bool triage_cause_of(const struct triage *triage, const char *cause, const char *symptom);
json_t *triage_rules_json(const struct triage *triage);
struct catalogue *triage_catalogue(const struct triage *triage); /* borrowed */
/* Whether a quantity is known and the value plausible. `triage` as void *: a callback's argument.
 */
int triage_check_quantity(void *triage, const char *quantity, double value, struct error *err);

/* Ranks a case as of its newest complaint. ERROR_NOT_FOUND if the case is gone. */
int triage_case(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
                struct triage_top *ret_top, struct error *err);
/* Ranks one complaint that is not logged; only its symptom must be given. */
int triage_preview(struct triage *triage, struct store *store, const json_t *body,
                   const struct complaint_lot *lots, int n, json_t **ret, struct error *err);
/* `cause` NULL: all (why), the likeliest (reach). ERROR_NOT_FOUND for an unknown cause. */
int triage_why(struct triage *triage, struct store *store, int64_t case_id, const char *cause,
               json_t **ret, struct error *err);
int triage_reach(struct triage *triage, struct store *store, int64_t case_id, const char *cause,
                 json_t **ret, struct error *err);
/* Every known fact of the likeliest lot: value, target, usual, z, bits; "values" in the order of
 * the complaints where callers told. */
int triage_facts(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
                 struct error *err);
int triage_ask(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err);
int triage_lot(struct triage *triage, struct store *store, int64_t lot_id, json_t **ret,
               struct error *err);
/* How good the rankings were, over verdicts given in [from, to). */
int triage_scores(struct triage *triage, struct store *store, int64_t from_ms, int64_t to_ms,
                  json_t **ret, struct error *err);
/* Changes of ratios that the plant's verdicts suggest, with intervals; nothing is changed. */
int triage_proposals(struct triage *triage, struct store *store, int64_t until_ms, json_t **ret,
                     struct error *err);
/* Verdicts were added or reopened: drops the kept counts. */
void triage_verdicts_changed(struct triage *triage);

#endif
