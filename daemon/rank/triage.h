/* What rankings stand on.
 *
 * A `struct triage` is a snapshot of the rules, the catalogue and the models' parameters with its
 * caches; a reload makes a new one and drops the old. A company's has those of its plants that have
 * rules of their own with it. What is told of a case is told by those of its plant, whatever lots
 * of other plants stand in it; of a case of no one plant by the company's. Thread-safe: several
 * reader threads use one at once, each with its own store. */
#ifndef ODDLOAF_RANK_TRIAGE_H
#define ODDLOAF_RANK_TRIAGE_H

#include "base/when.h"
#include "rules/catalogue.h"
#include <jansson.h>

struct store;
struct triage;

/* Loads causes, asks, ranking.json, quantities, places and models.json of `rules_dir`, checks
 * them whole and calls `report` for every fault. `tz` is borrowed and outlives the snapshot. */
int triage_new(const char *rules_dir, const struct tz *tz,
               void (*report)(void *arg, const struct error *fault), void *arg, struct triage **ret,
               struct error *err);
/* Those of that plant: its rule files of `rules_dir` (rules/rule_files_plant.h) stand for the
 * company's. Does nothing where it has no folder. Before anybody else sees the snapshot. */
int triage_add_plant(struct triage *company, const char *rules_dir, const char *plant,
                     void (*report)(void *arg, const struct error *fault), void *arg,
                     struct error *err);
/* `triage` may be the company's or any of its plants'. That plant's; the company's where it has
 * none, or `plant` is NULL or "". Borrowed. */
struct triage *triage_of(struct triage *triage, const char *plant);
/* Of a lot's plant. */
int triage_of_lot(struct triage *triage, struct store *store, int64_t lot_id, struct triage **ret,
                  struct error *err);
/* [{"plant","rules":"sha256:…"}] of those that have some, as they were added. New reference. */
json_t *triage_plants_json(const struct triage *triage);
/* The same rules and parameters, of plants too, borrowed from `of`, with caches of its own: for a
 * store that is not seen whole (store/without.h). triage_free() ends it. */
struct triage *triage_apart(const struct triage *of);
void triage_free(struct triage *triage); /* NULL is fine */

const char *triage_hash(const struct triage *triage); /* "sha256:…" */
/* Of the company's and all plants': another where any of them is; the same as triage_hash() where
 * no plant has any. */
enum { TRIAGE_HASH = 80 };
const char *triage_hash_of_all(const struct triage *company, char out[static TRIAGE_HASH]);
int triage_cause_count(const struct triage *triage);
const char *triage_cause_title(const struct triage *triage, const char *cause); /* NULL unknown */
/* Hints at the cause that may be meant by an unknown one, else `usual`. */
void triage_cause_hint(const struct triage *triage, const char *cause, const char *usual,
                       struct error *err);
bool triage_cause_of(const struct triage *triage, const char *cause, const char *symptom);
/* Whether it is a fault of the plant: not the background, nor what happens to bread behind it. */
bool triage_cause_in_plant(const struct triage *triage, const char *cause);
/* Whether bread of a case of that symptom, if the cause is so, is moldy or ropy: unfit to be eaten,
 * and no stuff for dough. */
bool triage_cause_unfit(const struct triage *triage, const char *cause, const char *symptom);
json_t *triage_rules_json(const struct triage *triage);
/* Whether a rule or a model reads that quantity of a lot; whether it is worked out from mixes and
 * uses. */
bool triage_reads(const struct triage *triage, const char *quantity);
bool triage_works_out(const struct triage *triage, const char *quantity);
/* The name under which lots have it (rules_quantity). */
const char *triage_quantity(const struct triage *triage, const char *quantity);
struct catalogue *triage_catalogue(const struct triage *triage); /* borrowed */
/* Whether a quantity is known and the value plausible. `triage` as void *: a callback's argument.
 */
int triage_check_quantity(void *triage, const char *quantity, double value, struct error *err);

#endif
