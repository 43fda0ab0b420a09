/* A case, or a complaint that is not logged, ranked and told. */
#include "store/case.h"
#include "base/short_id.h"
#include "base/text.h"
#include "store/lot_find.h"
#include "tell/case_json.h"
#include "tell/held.h"
#include "tell/kept.h"
#include "tell/measured_json.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

enum { QUESTIONS = 5 }; /* of the desk, at most */

/* ---- of no kind that is ranked ---- */

static json_t *unranked_json(const struct triage *triage, const char *plant,
                             const struct case_input *input)
{
    json_t *complaints = json_array(), *cautions = json_array(), *callers = json_array();
    for (int i = 0; i < input->count; i++)
        if (*input->complaints[i].uuid)
            json_array_append_new(complaints, json_string(input->complaints[i].uuid));
    const struct case_rank harm = {.input = *input}; /* borrowed */
    case_json_harm_caution(&harm, cautions);
    case_json_bag_cautions(triage, input, false, cautions);
    case_json_bag_cautions(triage, input, true, callers);
    json_t *object =
        json_pack("{s:o, s:s, s:o, s:s, s:o, s:[], s:[], s:[], s:o, s:o, s:[], s:[]}", "case",
                  CASE_ID_JSON(input->case_id), "symptom", "other", "as_of",
                  case_json_when(triage, plant, input->as_of_ms), "rules", triage->rules->hash,
                  "complaints", complaints, "lots", "ranked", "ask", "cautions", cautions,
                  "caller_cautions", callers, "checks", "actions");
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

/* ---- of any kind ---- */

struct tell_ranked {
    struct triage *triage; /* of its plant; borrowed */
    bool has_causes;       /* without them there is the input alone */
    char plant[sizeof((struct case_row *)0)->plant];
    struct case_rank ranked;
};

int tell_rank(struct triage *triage, struct store *store, int64_t case_id, struct tell_ranked **ret,
              struct error *err)
{
    struct tell_ranked *told = xcalloc(1, sizeof *told);
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    told->triage = rc ? triage : triage_of(triage, row.plant);
    told->has_causes = !rc && symptom_of(row.symptom) >= 0;
    if (!rc)
        memcpy(told->plant, row.plant, sizeof told->plant);
    if (!rc)
        rc = told->has_causes ? case_rank_read(triage, store, case_id, &told->ranked, err)
                              : case_input_read(store, case_id, &told->ranked.input, err);
    if (rc) {
        free(told);
        return rc;
    }
    *ret = told;
    return 0;
}

void tell_ranked_free(struct tell_ranked *told)
{
    if (!told)
        return;
    if (told->has_causes)
        case_rank_clear(&told->ranked);
    else
        case_input_clear(&told->ranked.input);
    free(told);
}

void tell_ranked_keep(const struct tell_ranked *told, struct ranking *ret)
{
    if (told->has_causes)
        kept_make(told->triage, &told->ranked, ret);
    else
        keep_unranked(told->triage, &told->ranked.input, ret);
}

json_t *tell_ranked_harm(const struct tell_ranked *told)
{
    json_t *harm = json_object();
    case_json_harm(&told->ranked, harm);
    return harm;
}

json_t *tell_ranked_json(const struct tell_ranked *told, struct store *store)
{
    struct triage *triage = told->triage;
    const struct case_rank *ranked = &told->ranked;
    if (!told->has_causes)
        return unranked_json(triage, told->plant, &ranked->input);
    json_t *all = case_json_rank(triage, ranked, ask_json(triage, ranked, true, QUESTIONS));
    held_add(triage, store, ranked, all);
    measured_json_add(triage, store, ranked->lots[0].lot_id, all);
    return all;
}

static json_t *brief_json(const struct triage *triage, const struct case_rank *ranked)
{
    return case_json_brief(triage, ranked, ask_json(triage, ranked, true, QUESTIONS));
}

int tell_case(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
              struct ranking *ret_ranking, struct error *err)
{
    struct tell_ranked *told;
    int rc = tell_rank(triage, store, case_id, &told, err);
    if (rc)
        return rc;
    if (ret_ranking)
        tell_ranked_keep(told, ret_ranking);
    *ret = tell_ranked_json(told, store);
    tell_ranked_free(told);
    return 0;
}

int tell_brief(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err)
{
    struct tell_ranked *told;
    int rc = tell_rank(triage, store, case_id, &told, err);
    if (rc)
        return rc;
    *ret = told->has_causes ? brief_json(told->triage, &told->ranked)
                            : unranked_json(told->triage, told->plant, &told->ranked.input);
    tell_ranked_free(told);
    return 0;
}

static json_t *preview_unranked(const struct triage *triage, const json_t *body)
{
    struct case_complaint one = {.body = (json_t *)(uintptr_t)body}; /* borrowed */
    const struct case_input input = {.complaints = &one, .count = 1};
    json_t *cautions = json_array();
    case_json_bag_cautions(triage, &input, true, cautions);
    return json_pack("{s:[], s:[], s:o}", "ranked", "ask", "caller_cautions", cautions);
}

/* Whose it will be as things stand: its lot's; the lot open, the one that is named, else the one
 * that all its candidates share. */
static int preview_plant(struct store *store, const json_t *body, const struct complaint_lots *lots,
                         char ret[static LENGTH_CODE + 1], struct error *err)
{
    const char *named = json_string_value(json_object_get(body, "plant"));
    struct lot_find_row row;
    int rc = 0;
    *ret = '\0';
    if (named && *named && !complaint_lots_settled(lots)) {
        text_clip(named, ret, LENGTH_CODE + 1);
        return 0;
    }
    int count = complaint_lots_settled(lots) ? 1 : lots->count;
    for (int i = 0; i < count && !rc; i++) {
        rc = lot_find_by_id(store, lots->lot[i].lot_id, &row, err);
        if (!rc && i && strcmp(ret, row.plant) != 0) {
            *ret = '\0';
            return 0;
        }
        if (!rc)
            text_clip(row.plant, ret, LENGTH_CODE + 1);
    }
    return rc;
}

int tell_preview(struct triage *triage, struct store *store, const json_t *body,
                 const struct complaint_lots *lots, json_t **ret, struct error *err)
{
    struct clock clock = clock_system();
    struct case_input input;
    struct case_rank ranked;
    const char *symptom = json_string_value(json_object_get(body, "symptom"));
    if (symptom && strcmp(symptom, "other") == 0) {
        *ret = preview_unranked(triage, body);
        return 0;
    }
    char plant[LENGTH_CODE + 1];
    int rc = preview_plant(store, body, lots, plant, err);
    if (!rc)
        rc = case_input_of(body, lots, clock_now_ms(&clock), &input, err);
    if (rc)
        return rc;
    memcpy(input.plant, plant, sizeof input.plant);
    rc = case_rank_make(triage, store, &input, &ranked, err);
    if (rc)
        return rc;
    *ret = brief_json(ranked.triage, &ranked);
    case_rank_clear(&ranked);
    return 0;
}
