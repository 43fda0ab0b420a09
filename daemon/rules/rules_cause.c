/* One cause's file. */
#include "base/text.h"
#include "rules/rules_check.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BITS_LIMIT 12.0 /* one clue in 4096 is as sure as a rule may be */

static const char *const EVIDENCE_MEMBERS[] = {"fact",  "as",      "curve",  "table",    "group",
                                               "scale", "limit",   "change", "when",     "unless",
                                               "note",  "because", "source", "symptoms", NULL};

static void check_table(struct rules_check *check, const json_t *table, const char *pointer,
                        struct rule_evidence *ret)
{
    const struct fact_name *name = ret->fact >= 0 ? &check->rules->facts[ret->fact].name : NULL;
    const char *word;
    json_t *bits;
    char where[256];
    if (!json_is_object(table) || !json_object_size(table)) {
        check_fail(check, pointer, NULL, "must be an object: word, bits");
        return;
    }
    if (name && !name->words)
        check_fail(check, pointer, name->text,
                   "a table needs a fact that has words; this is a number");
    ret->words = xcalloc(json_object_size(table), sizeof *ret->words);
    json_object_foreach((json_t *)table, word, bits)
    {
        check_at(where, sizeof where, pointer, word);
        double value = json_number_value(bits);
        bool known = !name || !name->allowed || strcmp(word, "*") == 0;
        for (int i = 0; !known && name->allowed[i]; i++)
            known = strcmp(name->allowed[i], word) == 0;
        if (!known)
            check_fail(check, where, word, "'%s' has no such word", name->text);
        if (!json_is_number(bits) || !(fabs(value) <= BITS_LIMIT))
            check_fail(check, where, word, "bits must be a number from -12 to 12");
        if (strcmp(word, "*") == 0)
            ret->other = value;
        else
            ret->words[ret->word_count++] = (struct rule_word){word, value};
    }
}

static void check_limit(struct rules_check *check, const json_t *item, const char *pointer,
                        struct rule_evidence *ret)
{
    const json_t *limit = json_object_get(item, "limit");
    char where[256];
    ret->scale = 1;
    ret->low = -6;
    ret->high = 6;
    check_number(check, item, pointer, "scale", false, -4, 4, &ret->scale);
    if (!limit)
        return;
    check_at(where, sizeof where, pointer, "limit");
    const json_t *low = json_array_get(limit, 0), *high = json_array_get(limit, 1);
    if (json_array_size(limit) == 2 && json_is_number(low) && json_is_number(high)) {
        ret->low = json_number_value(low);
        ret->high = json_number_value(high);
        if (ret->low >= -BITS_LIMIT && ret->low <= 0 && ret->high >= 0 && ret->high <= BITS_LIMIT)
            return;
    }
    check_fail(check, where, NULL, "must be [low, high] with -12 <= low <= 0 <= high <= 12");
}

/* *ret if there is one and it can be understood, else NULL. */
static const struct change *check_change(struct rules_check *check, const json_t *item,
                                         const char *pointer, struct change *ret)
{
    const json_t *written = json_object_get(item, "change");
    const char *member;
    char where[256];
    const char *fault = written ? change_read(written, ret, &member) : NULL;
    if (fault)
        check_fail(check, check_at(where, sizeof where, pointer, "change"), member, "%s", fault);
    return written && !fault ? ret : NULL;
}

static void check_how(struct rules_check *check, const json_t *item, const char *pointer,
                      struct rule_evidence *ret)
{
    static const char *const AS[] = {"value", "z", "ratio", "bits", NULL};
    const struct fact_name *name = ret->fact >= 0 ? &check->rules->facts[ret->fact].name : NULL;
    const json_t *table = json_object_get(item, "table"), *curve = json_object_get(item, "curve");
    bool predicted = name && name->kind == FACT_MODEL && name->code <= MODEL_ROPE_AGE;
    char where[256];
    if (name && predicted != (json_object_get(item, "change") != NULL))
        check_fail(check, pointer, name->text,
                   predicted ? "'change' is missing"
                             : "only an age that a model predicts can change");
    if (table) {
        ret->how = EVIDENCE_TABLE;
        check_at(where, sizeof where, pointer, "table");
        check_table(check, table, where, ret);
        return;
    }
    if (predicted) {
        ret->how = EVIDENCE_MODEL;
        check_limit(check, item, pointer, ret);
        return;
    }
    const char *as = check_word(check, item, pointer, "as", AS, true);
    if (!as)
        return;
    ret->how = strcmp(as, "value") == 0   ? EVIDENCE_VALUE
               : strcmp(as, "z") == 0     ? EVIDENCE_Z
               : strcmp(as, "ratio") == 0 ? EVIDENCE_RATIO
                                          : EVIDENCE_BITS;
    if (name && name->words)
        check_fail(check, pointer, name->text, "this fact has words: give a 'table'");
    if (ret->how == EVIDENCE_BITS) {
        check_limit(check, item, pointer, ret);
        if (name && name->kind != FACT_COMPANY)
            check_fail(check, pointer, name->text, "only company facts are bits already");
        return;
    }
    check_at(where, sizeof where, pointer, "curve");
    if (!curve)
        check_fail(check, pointer, NULL, "needs a 'curve' or a 'table'");
    else
        check_curve(check, curve, where, -BITS_LIMIT, BITS_LIMIT, &ret->curve, &ret->point_count);
}

static void check_group(struct rules_check *check, const json_t *item, const char *pointer,
                        struct rule_cause *cause, struct rule_evidence *ret)
{
    ret->group = -1;
    if (!json_object_get(item, "group"))
        return;
    ret->group_name = check_text(check, item, pointer, "group");
    for (int i = 0; ret->group_name && i < cause->evidence_count; i++)
        if (cause->evidence[i].group_name &&
            strcmp(cause->evidence[i].group_name, ret->group_name) == 0)
            ret->group = cause->evidence[i].group;
    if (ret->group < 0)
        ret->group = cause->group_count++;
    if (cause->group_count > RULE_GROUPS)
        check_fail(check, pointer, ret->group_name, "more than %d groups", RULE_GROUPS);
}

static void check_item(struct rules_check *check, const json_t *item, const char *pointer,
                       struct rule_cause *cause)
{
    struct rule_evidence evidence = {.fact = -1};
    struct change change;
    if (!json_is_object(item)) {
        check_fail(check, pointer, NULL, "must be an object");
        return;
    }
    check_members(check, item, pointer, EVIDENCE_MEMBERS);
    evidence.fact = check_fact(check, item, pointer, check_change(check, item, pointer, &change));
    check_how(check, item, pointer, &evidence);
    check_group(check, item, pointer, cause, &evidence);
    check_guard(check, item, pointer, "when", &evidence.when);
    check_guard(check, item, pointer, "unless", &evidence.unless);
    evidence.symptoms = check_symptoms(check, item, pointer);
    evidence.because = check_text(check, item, pointer, "because");
    evidence.source = check_text(check, item, pointer, "source");
    cause->evidence =
        xrealloc(cause->evidence, (size_t)(cause->evidence_count + 1) * sizeof *cause->evidence);
    cause->evidence[cause->evidence_count++] = evidence;
}

static void check_priors(struct rules_check *check, const json_t *document,
                         struct rule_cause *cause)
{
    const json_t *symptoms = json_object_get(document, "symptoms");
    const char *name;
    json_t *weight;
    char where[128];
    if (!json_is_object(symptoms) || !json_object_size(symptoms)) {
        check_fail(check, "/symptoms", NULL, "must be an object: symptom, prior weight");
        return;
    }
    json_object_foreach((json_t *)symptoms, name, weight)
    {
        int symptom = symptom_of(name);
        double prior = json_number_value(weight);
        check_at(where, sizeof where, "/symptoms", name);
        if (symptom < 0)
            check_fail(check, where, name, "no such symptom");
        else if (!json_is_number(weight) || !(prior > 0 && prior <= 1000))
            check_fail(check, where, name, "a prior weight must be above 0");
        else
            cause->prior[symptom] = prior;
    }
}

static const json_t *check_texts(struct rules_check *check, const json_t *document,
                                 const char *name)
{
    const json_t *list = json_object_get(document, name);
    char where[64];
    if (!list)
        return NULL;
    check_at(where, sizeof where, "", name);
    bool good = json_is_array(list);
    for (size_t i = 0; good && i < json_array_size(list); i++)
        good = json_string_length(json_array_get(list, i)) > 0;
    if (!good)
        check_fail(check, where, NULL, "must be a list of texts");
    return good ? list : NULL;
}

static const json_t *check_checks(struct rules_check *check, const json_t *document)
{
    static const char *const MEMBERS[] = {"do", "who", "effort", "settles", "note", NULL};
    static const char *const WHO[] = {"lab", "qa", "plant", NULL};
    static const char *const EFFORT[] = {"seconds", "minutes", "hours", "days", NULL};
    const json_t *list = json_object_get(document, "checks");
    char where[64];
    double settles = 0;
    if (!list)
        return NULL;
    if (!json_is_array(list))
        check_fail(check, "/checks", NULL, "must be a list");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *item = json_array_get(list, i);
        check_at_index(where, sizeof where, "/checks", i);
        if (!json_is_object(item)) {
            check_fail(check, where, NULL, "must be an object");
            continue;
        }
        check_members(check, item, where, MEMBERS);
        check_text(check, item, where, "do");
        check_word(check, item, where, "who", WHO, true);
        check_word(check, item, where, "effort", EFFORT, true);
        check_number(check, item, where, "settles", false, 0, 1, &settles);
    }
    return list;
}

static bool reach_known(struct rules_check *check, const char *word)
{
    if (strcmp(word, "lot") == 0)
        return true;
    if (strncmp(word, "place-window:", 13) == 0)
        return vocabulary_place(check->rules->vocabulary, word + 13);
    for (int i = 0; i < REACH_WINDOW; i++)
        if (strcmp(rule_reach_name((enum rule_reach)i), word) == 0)
            return true;
    return false;
}

static void check_reach(struct rules_check *check, const json_t *document, struct rule_cause *cause)
{
    const json_t *list = json_object_get(document, "reach");
    const json_t *fact = json_object_get(document, "reach_fact");
    char where[64];
    cause->reach_fact.fact = -1;
    if (list && !json_is_array(list))
        check_fail(check, "/reach", NULL, "must be a list");
    cause->reach = xcalloc(json_array_size(list) + 1, sizeof *cause->reach);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *word = json_string_value(json_array_get(list, i));
        check_at_index(where, sizeof where, "/reach", i);
        if (!word || !reach_known(check, word))
            check_fail(check, where, word, "no such condition to share");
        else
            cause->reach[cause->reach_count++] = word;
    }
    if (!fact)
        return;
    static const char *const AS[] = {"value", "z", "ratio", NULL};
    struct rule_evidence *evidence = &cause->reach_fact;
    evidence->when.fact = evidence->unless.fact = -1;
    const char *as = check_word(check, fact, "/reach_fact", "as", AS, true);
    evidence->how = as && *as == 'z'   ? EVIDENCE_Z
                    : as && *as == 'r' ? EVIDENCE_RATIO
                                       : EVIDENCE_VALUE;
    if (check_curve(check, json_object_get(fact, "curve"), "/reach_fact/curve", 0, 1,
                    &evidence->curve, &evidence->point_count))
        evidence->fact = check_fact(check, fact, "/reach_fact", NULL);
}

void check_cause(struct rules_check *check, json_t *document, const char *file_stem)
{
    static const char *const MEMBERS[] = {"id",      "title",          "symptoms",   "evidence",
                                          "checks",  "actions",        "cautions",   "sources",
                                          "reach",   "note",           "reach_fact", "background",
                                          "$schema", "after_dispatch", NULL};
    struct rules *rules = check->rules;
    struct rule_cause cause = {.document = document, .file = xstrdup(check->source)};
    const json_t *evidence = json_object_get(document, "evidence");
    char where[64];
    check_members(check, document, "", MEMBERS);
    cause.id = check_text(check, document, "", "id");
    cause.title = check_text(check, document, "", "title");
    if (cause.id && strcmp(cause.id, file_stem) != 0)
        check_fail(check, "/id", cause.id, "must be the file's name, %s", file_stem);
    if (cause.id && rules_cause(rules, cause.id) >= 0)
        check_fail(check, "/id", cause.id, "this id is taken by another file");
    check_priors(check, document, &cause);
    if (evidence && !json_is_array(evidence))
        check_fail(check, "/evidence", NULL, "must be a list");
    for (size_t i = 0; i < json_array_size(evidence); i++) {
        check_at_index(where, sizeof where, "/evidence", i);
        check_item(check, json_array_get(evidence, i), where, &cause);
    }
    check_reach(check, document, &cause);
    cause.checks = check_checks(check, document);
    cause.actions = check_texts(check, document, "actions");
    cause.cautions = check_texts(check, document, "cautions");
    cause.sources = check_texts(check, document, "sources");
    cause.background = json_is_true(json_object_get(document, "background"));
    cause.after_dispatch = json_is_true(json_object_get(document, "after_dispatch"));
    rules->causes =
        xrealloc(rules->causes, (size_t)(rules->cause_count + 1) * sizeof *rules->causes);
    rules->causes[rules->cause_count++] = cause;
}

void rule_guard_free(struct rule_guard *guard)
{
    free((void *)guard->words);
}

void rule_evidence_free(struct rule_evidence *evidence)
{
    free(evidence->curve);
    free(evidence->words);
    rule_guard_free(&evidence->when);
    rule_guard_free(&evidence->unless);
}
