/* What is told of cases and lots: rankings, why, what to ask, which other lots. Answers are new
 * JSON references. Any thread, each with its own store. */
#ifndef ODDLOAF_TELL_TELL_H
#define ODDLOAF_TELL_TELL_H

#include "rank/triage.h"
#include "store/complaint.h"
#include "store/ranking.h"

/* Ranks a case as of its newest complaint; *ret_ranking (may be NULL) is what is kept of it, to be
 * cleared by the caller: without causes if its kind has none. ERROR_NOT_FOUND if the case is gone.
 */
int tell_case(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
              struct ranking *ret_ranking, struct error *err);
/* The same for whoever logs a complaint of it: {"symptom","harm","harm_possible","ranked":
 * [{"cause","title","probability"}] of the first causes, "ask","caller_cautions"}, of a kind
 * without causes all. */
int tell_brief(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err);
/* tell_case() in pieces, for whoever knows only by what is kept whether all is to be told: whoever
 * goes on reading brackets the whole with store_look(). */
struct tell_ranked;
int tell_rank(struct triage *triage, struct store *store, int64_t case_id, struct tell_ranked **ret,
              struct error *err);
void tell_ranked_free(struct tell_ranked *told); /* NULL is fine */
void tell_ranked_keep(const struct tell_ranked *told, struct ranking *ret);
json_t *tell_ranked_harm(const struct tell_ranked *told); /* {"harm","harm_possible"} */
json_t *tell_ranked_json(const struct tell_ranked *told, struct store *store);
/* A mail names the first causes, likely or not, and explains those of them that are not so
 * unlikely: what is kept of a ranking explains no others. */
enum { TELL_FIRST = 3 };
bool tell_mailed_why(int place, double probability);
/* Adds to the texts of `list` those that whoever works on a case of that symptom must mind. */
void tell_cautions(const struct triage *triage, const char *symptom, json_t *list);
/* A ranking that was kept, as it was mailed: a title or a name only where the rules of today have
 * it.
 */
int tell_kept(struct triage *triage, struct store *store, int64_t case_id, int revision,
              json_t **ret, struct error *err);
/* Ranks one complaint that is not logged; only its symptom must be given. */
int tell_preview(struct triage *triage, struct store *store, const json_t *body,
                 const struct complaint_lots *lots, json_t **ret, struct error *err);
/* `cause` NULL: all (why), the likeliest (reach; of harm, or a kind without causes: what could have
 * carried it). ERROR_NOT_FOUND for an unknown cause. */
int tell_why(struct triage *triage, struct store *store, int64_t case_id, const char *cause,
             json_t **ret, struct error *err);
struct tell_asked {
    int64_t case_id;
    const char *cause;
    int64_t now_ms; /* what is in code is so on that day of the plant */
    /* Of a case whose lot is open: the lots that it may be besides those kept with it, NULL none;
     * and how many more are not among them. */
    const struct complaint_lot *may_be;
    int may_be_count;
    int64_t left_out;
};
int tell_reach(struct triage *triage, struct store *store, const struct tell_asked *asked,
               json_t **ret, struct error *err);
/* Of harm that is reported, and of a kind without causes: the case's lot and those that shared what
 * could have carried it, without probabilities. *ret NULL: of any other case. */
int tell_reach_harm(struct triage *triage, struct store *store, const struct tell_asked *asked,
                    json_t **ret, struct error *err);
/* Every known fact of the likeliest lot: value, target, usual, z, bits; "values" in the order of
 * the complaints where callers told. */
int tell_facts(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err);
int tell_ask(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
             struct error *err);
int tell_lot(struct triage *triage, struct store *store, int64_t lot_id, json_t **ret,
             struct error *err);
/* What the pictures of a case's sheet show, where the case's own lot is settled, else {}: {"lot":
 * all of tell_lot(), "course": core temperature by minute, {"series" (false: only as packed, by
 * minutes of cooling),"own":[[min, °C],…],"recent":[…, one a lot],"target_packed_c"}, "found":
 * [{"day" after packing,"complaints","reported": of them who did not say when}], "near": lots
 * packed around it, {"hours","lots":[{"lot", "line","from_h","to_h" from its own
 * packing,"complaints" of the symptom,"own"}]}, its own first, "routes":
 * [{"route","units","stores","complaints" of the case}]}. */
int tell_sheet(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err);
/* What stands around the lot, into its document: "cases", "may_be" (complaints whose lot is open
 * that it is a candidate of), "samples" (kept back of it), "neighbours" (of its line). */
int tell_lot_around(struct triage *triage, struct store *store, int64_t lot_id, json_t *into,
                    struct error *err);
/* How good the rankings were, over verdicts given in [from, to) of that plant's cases
 * (store/stage.h), and "stages". */
struct stage_of;
int tell_scores(struct triage *triage, struct store *store, const struct stage_of *of, json_t **ret,
                struct error *err);
/* How long each stage (store/stage.h) took of what ended in the span, and what waits in it now:
 * [{"stage","what","n","median_days","most_days","waiting"}]; most: nine in ten took no longer. */
int tell_stages(struct store *store, const struct stage_of *of, json_t **ret, struct error *err);
/* Changes of ratios that the verdicts before the span's end suggest, with intervals; nothing is
 * changed. */
int tell_proposals(struct triage *triage, struct store *store, const struct stage_of *of,
                   json_t **ret, struct error *err);

#endif
