/* A case, or a complaint that is not logged, ranked and told. */
#include "store/case.h"
#include "base/short_id.h"
#include "base/text.h"
#include "tell/case_json.h"
#include "tell/held.h"
#include "tell/kept.h"
#include "tell/measured_json.h"
#include "tell/tell.h"
#include <string.h>

enum { QUESTIONS = 5 }; /* of the desk, at most */

/* ---- of no kind that is ranked ---- */

static json_t *unranked_json(const struct triage *triage, const struct case_input *input)
{
    json_t *complaints = json_array(), *cautions = json_array();
    for (int i = 0; i < input->count; i++)
        if (*input->complaints[i].uuid)
            json_array_append_new(complaints, json_string(input->complaints[i].uuid));
    const struct case_rank harm = {.input = *input}; /* borrowed */
    case_json_harm_caution(&harm, cautions);
    json_t *object = json_pack("{s:o, s:s, s:o, s:s, s:o, s:[], s:[], s:[], s:o, s:[], s:[], s:[]}",
                               "case", CASE_ID_JSON(input->case_id), "symptom", "other", "as_of",
                               case_json_when(triage, input->as_of_ms), "rules",
                               triage->rules->hash, "complaints", complaints, "lots", "ranked",
                               "ask", "cautions", cautions, "caller_cautions", "checks", "actions");
    case_json_harm(&harm, object);
    case_json_harms(triage, &harm, object);
    return object;
}

/* What is kept of it has no causes: it says that it was looked at, and what QA was told. */
static void keep_unranked(const struct triage *triage, const struct case_input *input,
                          struct ranking *ret)
{
    *ret = (struct ranking){
        .case_id = input->case_id, .as_of_ms = input->as_of_ms, .complaints = input->count};
    text_clip(triage->rules->hash, ret->rules, sizeof ret->rules);
}

static int tell_unranked(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
                         struct ranking *ret_ranking, struct error *err)
{
    struct case_input input;
    int rc = case_input_read(store, case_id, &input, err);
    if (rc)
        return rc;
    if (ret_ranking)
        keep_unranked(triage, &input, ret_ranking);
    *ret = unranked_json(triage, &input);
    case_input_clear(&input);
    return 0;
}

int tell_case(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
              struct ranking *ret_ranking, struct error *err)
{
    struct case_rank ranked;
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (!rc && symptom_of(row.symptom) < 0)
        return tell_unranked(triage, store, case_id, ret, ret_ranking, err);
    if (!rc)
        rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    if (ret_ranking)
        kept_make(triage, &ranked, ret_ranking);
    *ret = case_json_rank(triage, &ranked, ask_json(triage, &ranked, true, QUESTIONS));
    held_add(triage, store, &ranked, *ret);
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
    const char *symptom = json_string_value(json_object_get(body, "symptom"));
    if (symptom && strcmp(symptom, "other") == 0) {
        *ret = json_pack("{s:[], s:[], s:[]}", "ranked", "ask", "caller_cautions");
        return 0;
    }
    int rc = case_input_of(body, lots, clock_now_ms(&clock), &input, err);
    if (!rc)
        rc = case_rank_make(triage, store, &input, &ranked, err);
    if (rc)
        return rc;
    *ret = case_json_rank(triage, &ranked, ask_json(triage, &ranked, true, QUESTIONS));
    case_rank_clear(&ranked);
    return 0;
}
