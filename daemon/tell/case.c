/* A case, or a complaint that is not logged, ranked and told. */
#include "tell/case_json.h"
#include "tell/kept.h"
#include "tell/measured_json.h"
#include "tell/tell.h"

enum { QUESTIONS = 5 }; /* of the desk, at most */

int tell_case(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
              struct ranking *ret_ranking, struct error *err)
{
    struct case_rank ranked;
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    if (ret_ranking)
        kept_make(triage, &ranked, ret_ranking);
    *ret = case_json_rank(triage, &ranked, ask_json(triage, &ranked, true, QUESTIONS));
    measured_json_add(triage, store, ranked.lots[0].lot_id, *ret);
    case_rank_clear(&ranked);
    return 0;
}

int tell_preview(struct triage *triage, struct store *store, const json_t *body,
                 const struct complaint_lots *lots, json_t **ret, struct error *err)
{
    struct clock clock = clock_system();
    struct case_input input;
    struct case_rank ranked;
    int rc = case_input_of(body, lots, clock_now_ms(&clock), &input, err);
    if (!rc)
        rc = case_rank_make(triage, store, &input, &ranked, err);
    if (rc)
        return rc;
    *ret = case_json_rank(triage, &ranked, ask_json(triage, &ranked, true, QUESTIONS));
    case_rank_clear(&ranked);
    return 0;
}
