/* rules/asks.json and rules/ranking.json. */
#include "base/text.h"
#include "models/acid.h"
#include "rules/rules_check.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void check_answer(struct rules_check *check, const json_t *answer, const char *pointer,
                         const struct fact_name *name, struct rule_ask *ask)
{
    static const char *const MEMBERS[] = {"word", "label", "value", "ratio",
                                          "z",    "share", "note",  NULL};
    struct rule_answer ret = {.value = NAN, .ratio = NAN, .z = NAN};
    char where[128];
    if (!json_is_object(answer)) {
        check_fail(check, pointer, NULL, "must be an object");
        return;
    }
    check_members(check, answer, pointer, MEMBERS);
    ret.word = json_string_value(json_object_get(answer, "word"));
    ret.label = json_string_value(json_object_get(answer, "label"));
    check_number(check, answer, pointer, "value", false, -1e9, 1e9, &ret.value);
    check_number(check, answer, pointer, "ratio", false, 0, 1e6, &ret.ratio);
    check_number(check, answer, pointer, "z", false, -100, 100, &ret.z);
    check_number(check, answer, pointer, "share", true, 1e-6, 1e6, &ret.share);
    if (name && name->words) {
        bool known = ret.word && !name->allowed;
        for (int i = 0; ret.word && name->allowed && name->allowed[i]; i++)
            known = known || strcmp(name->allowed[i], ret.word) == 0;
        check_at(where, sizeof where, pointer, "word");
        if (!known)
            check_fail(check, where, ret.word, "'%s' has no such word", name->text);
    } else if (isnan(ret.value) && isnan(ret.ratio) && isnan(ret.z)) {
        check_fail(check, pointer, NULL, "needs 'value', 'ratio' or 'z'");
    }
    ask->answers[ask->answer_count++] = ret;
}

static void check_ask(struct rules_check *check, const json_t *item, const char *pointer)
{
    static const char *const MEMBERS[] = {"fact",    "ask",  "of",   "effort",  "symptoms",
                                          "answers", "when", "note", "choices", NULL};
    static const char *const OF[] = {"caller", "plant", "lab", NULL};
    static const char *const EFFORT[] = {"seconds", "minutes", "hours", "days", NULL};
    struct rules *rules = check->rules;
    struct rule_ask ask = {.fact = -1};
    char where[160], list[128];
    check_members(check, item, pointer, MEMBERS);
    ask.fact = check_fact(check, item, pointer, NULL);
    ask.ask = check_text(check, item, pointer, "ask");
    ask.of = check_word(check, item, pointer, "of", OF, true);
    ask.effort = check_word(check, item, pointer, "effort", EFFORT, true);
    ask.symptoms = check_symptoms(check, item, pointer);
    check_guard(check, item, pointer, "when", &ask.when);
    const json_t *answers = json_object_get(item, "answers");
    check_at(list, sizeof list, pointer, "answers");
    if (!json_is_array(answers) || json_array_size(answers) < 2)
        check_fail(check, list, NULL, "must be a list of two answers or more");
    size_t count = json_is_array(answers) ? json_array_size(answers) : 0;
    ask.answers = xcalloc(count + 1, sizeof *ask.answers);
    for (size_t i = 0; i < count; i++) {
        check_at_index(where, sizeof where, list, i);
        check_answer(check, json_array_get(answers, i), where,
                     ask.fact >= 0 ? &rules->facts[ask.fact].name : NULL, &ask);
    }
    double sum = 0;
    for (int i = 0; i < ask.answer_count; i++)
        sum += ask.answers[i].share;
    for (int i = 0; i < ask.answer_count && sum > 0; i++)
        ask.answers[i].share /= sum;
    rules->asks = xrealloc(rules->asks, (size_t)(rules->ask_count + 1) * sizeof *rules->asks);
    rules->asks[rules->ask_count++] = ask;
}

void check_asks(struct rules_check *check, const json_t *document)
{
    const json_t *asks = json_object_get(document, "asks");
    char where[64];
    if (!json_is_array(asks)) {
        check_fail(check, "/asks", NULL, "must be a list");
        return;
    }
    for (size_t i = 0; i < json_array_size(asks); i++) {
        check_at_index(where, sizeof where, "/asks", i);
        if (json_is_object(json_array_get(asks, i)))
            check_ask(check, json_array_get(asks, i), where);
        else
            check_fail(check, where, NULL, "must be an object");
    }
}

static void check_delay(struct rules_check *check, const json_t *delay, int symptom)
{
    struct rule_ranking *ranking = &check->rules->ranking;
    const json_t *curve = json_object_get(delay, symptom_name(symptom));
    struct rule_point *points;
    int count;
    char where[64];
    check_at(where, sizeof where, "/delay_days", symptom_name(symptom));
    if (!curve || !check_curve(check, curve, where, 0, 1, &points, &count))
        return;
    bool rises = count <= 12 && points[0].bits >= 0 && points[count - 1].bits == 1.0;
    for (int i = 1; i < count; i++)
        rises = rises && points[i].bits >= points[i - 1].bits;
    if (!rises)
        check_fail(check, where, NULL, "must rise to 1 in at most 12 points");
    else
        memcpy(ranking->delay[symptom], points, (size_t)count * sizeof *points);
    if (rises)
        ranking->delay_count[symptom] = count;
    free(points);
}

static void check_product(struct rules_check *check, const json_t *document, const char *name,
                          char *out, size_t size)
{
    const char *product = json_string_value(json_object_get(document, name));
    char where[64];
    if (!json_object_get(document, name))
        return;
    check_at(where, sizeof where, "", name);
    if (!product || !acid_product_find(product))
        check_fail(check, where, product, "no such product (calcium-propionate, vinegar, ...)");
    else
        snprintf(out, size, "%s", product);
}

static void check_reach_share(struct rules_check *check, const json_t *shares, double *ret)
{
    const char *names[REACHES + 1] = {NULL};
    for (int i = 0; i < REACHES; i++)
        names[i] = rule_reach_name((enum rule_reach)i);
    if (!shares)
        return;
    if (!json_is_object(shares)) {
        check_fail(check, "/reach_share", NULL, "must be an object: condition, share");
        return;
    }
    check_members(check, shares, "/reach_share", names);
    for (int i = 0; i < REACHES; i++)
        check_number(check, shares, "/reach_share", names[i], false, 0.001, 0.999, &ret[i]);
}

void check_ranking(struct rules_check *check, const json_t *document)
{
    static const char *const MEMBERS[] = {"pool_exponent", "temper",
                                          "prior_weight",  "inhibitor",
                                          "acid",          "base_per_million",
                                          "delay_days",    "note",
                                          "$schema",       "company_most",
                                          "company_rival", "background_weight",
                                          "reach_share",   NULL};
    struct rule_ranking *ranking = &check->rules->ranking;
    const json_t *base = json_object_get(document, "base_per_million");
    check_members(check, document, "", MEMBERS);
    check_number(check, document, "", "pool_exponent", false, 0, 1, &ranking->pool_exponent);
    check_number(check, document, "", "temper", false, 0.05, 2, &ranking->temper);
    check_number(check, document, "", "prior_weight", false, 1, 1e6, &ranking->prior_weight);
    check_number(check, document, "", "background_weight", false, 1, 1e6,
                 &ranking->background_weight);
    check_number(check, document, "", "company_most", false, 0.5, 60, &ranking->company_most);
    check_number(check, document, "", "company_rival", false, 0, 1, &ranking->company_rival);
    check_reach_share(check, json_object_get(document, "reach_share"), ranking->reach_share);
    check_product(check, document, "inhibitor", ranking->inhibitor, sizeof ranking->inhibitor);
    check_product(check, document, "acid", ranking->acid, sizeof ranking->acid);
    for (int s = 0; s < SYMPTOMS; s++) {
        check_number(check, base, "/base_per_million", symptom_name(s), false, 1e-3, 1e6,
                     &ranking->base_per_million[s]);
        check_delay(check, json_object_get(document, "delay_days"), s);
    }
}
