/* The facts of a case as they were gathered, before any rule has spoken: for checks from outside
 * and for whoever writes rules. */
#include "base/short_id.h"
#include "tell/case_json.h"
#include "tell/tell.h"
#include <math.h>

static void add_number(json_t *object, const char *key, double value)
{
    if (!isnan(value))
        json_object_set_new(object, key, jsonx_rounded(value, 4));
}

/* What the lot's records, places, company and models say. */
static json_t *lot_fact_json(const struct rule_fact *rule, const struct fact *fact)
{
    json_t *one = json_pack("{s:s, s:s*, s:o}", "fact", rule->name.text, "stands_for_it",
                            fact->quantity, "value", case_json_value(fact));
    if (rule->change)
        json_object_set_new(one, "change", json_deep_copy(rule->change->written));
    add_number(one, "target", fact->target);
    add_number(one, "usual", fact->usual);
    add_number(one, "z", fact->z);
    if (rule->name.kind == FACT_PLACE && fact_set_is_sample(rule->name.quantity) &&
        (rule->name.code == PLACE_LAST || rule->name.code == PLACE_NEXT))
        json_object_set_new(one, "cleanings", json_integer(fact->cleanings));
    if (rule->name.kind == FACT_COMPANY || rule->name.kind == FACT_MODEL)
        add_number(one, "bits", fact->bits);
    return one;
}

/* One value a complaint, in the order of "complaints"; null where the caller didn't say. */
static json_t *told_json(const struct rules *rules, const struct fact_set *set, int f)
{
    const struct rule_fact *rule = &rules->facts[f];
    json_t *values = json_array(), *bits = json_array();
    bool compared = rule->name.kind == FACT_COMPANY || rule->name.kind == FACT_MODEL, any = false;
    for (int i = 0; i < set->complaint_count; i++) {
        const struct fact *fact = fact_set_at(set, f, i);
        any = any || fact->known;
        json_array_append_new(values, fact->known ? case_json_value(fact) : json_null());
        json_array_append_new(bits, fact->known && !isnan(fact->bits) ? jsonx_rounded(fact->bits, 4)
                                                                      : json_null());
    }
    json_t *one = any ? json_pack("{s:s, s:O}", "fact", rule->name.text, "values", values) : NULL;
    if (one && rule->change)
        json_object_set_new(one, "change", json_deep_copy(rule->change->written));
    if (one && compared)
        json_object_set(one, "bits", bits);
    json_decref(values);
    json_decref(bits);
    return one;
}

int tell_facts(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err)
{
    struct case_rank ranked;
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    const struct fact_set *set = case_rank_facts(&ranked);
    const struct rules *rules = ranked.triage->rules;
    json_t *facts = json_array(), *complaints = json_array();
    for (int f = 0; f < rules->fact_count; f++) {
        const struct fact *fact = fact_set_at(set, f, 0);
        json_t *one = NULL;
        if (rules->facts[f].name.per_complaint)
            one = told_json(rules, set, f);
        else if (fact->known)
            one = lot_fact_json(&rules->facts[f], fact);
        if (one)
            json_array_append_new(facts, one);
    }
    for (int i = 0; i < ranked.input.count; i++)
        json_array_append_new(complaints, json_string(ranked.input.complaints[i].uuid));
    *ret = json_pack("{s:o, s:s, s:o, s:o, s:o}", "case", CASE_ID_JSON(case_id), "symptom",
                     symptom_name(ranked.input.symptom), "as_of",
                     case_json_when(triage, case_json_plant(&ranked), ranked.input.as_of_ms),
                     "complaints", complaints, "facts", facts);
    case_rank_clear(&ranked);
    return 0;
}
