#include "rules/rules_check.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *const RULES_CHECK_EFFORT[] = {"seconds", "minutes", "hours", "days", NULL};

/* ---- facts ---- */

static int add_fact(struct rules *rules, const struct fact_name *name, const struct change *change)
{
    for (int i = 0; i < rules->fact_count; i++) {
        const struct rule_fact *fact = &rules->facts[i];
        if (strcmp(fact->name.text, name->text) == 0 &&
            (fact->change && change ? change_equal(fact->change, change)
                                    : !fact->change && !change))
            return i;
    }
    rules->facts = xrealloc(rules->facts, (size_t)(rules->fact_count + 1) * sizeof *rules->facts);
    rules->facts[rules->fact_count] = (struct rule_fact){
        .name = *name,
        .change = change ? memcpy(xcalloc(1, sizeof *change), change, sizeof *change) : NULL,
        .slot = name->per_complaint ? rules->complaint_slots++ : rules->lot_slots++};
    return rules->fact_count++;
}

int rules_check_fact(const struct doc_place *place, const struct change *change)
{
    struct rules *rules = place->doc->context;
    const char *text = json_string_value(place->value);
    struct fact_name name;
    struct error why = {0};
    if (text && vocabulary_fact(rules->vocabulary, text, &name, &why) == 0)
        return add_fact(rules, &name, name.kind == FACT_MODEL ? change : NULL);
    error_set(&why, ERROR_INVALID, "no such fact");
    doc_fault_as(place, &why);
    return -1;
}

const struct fact_name *rules_check_name(const struct doc_place *place, int fact)
{
    const struct rules *rules = place->doc->context;
    return fact >= 0 ? &rules->facts[fact].name : NULL;
}

bool rules_check_word(const struct fact_name *name, const char *word)
{
    return !name || (name->words && (!name->allowed || fields_word(name->allowed, word)));
}

/* ---- guards ---- */

struct rule_guard rules_check_no_guard(void)
{
    return (struct rule_guard){.fact = -1, .from = -INFINITY, .to = INFINITY};
}

static void read_fact(const struct doc_place *place, void *part)
{
    *(int *)part = rules_check_fact(place, NULL);
}

static void read_guard_word(const struct doc_place *place, void *part)
{
    struct rule_guard *guard = part;
    const char *word = json_string_value(place->value);
    if (!word || !rules_check_word(rules_check_name(place, guard->fact), word)) {
        doc_fault(place, "not a word of this fact");
        return;
    }
    guard->words = xrealloc(guard->words, (size_t)(guard->word_count + 1) * sizeof *guard->words);
    guard->words[guard->word_count++] = word;
}

void rules_check_guard(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"fact", DOC_OTHER, DOC_AT(struct rule_guard, fact), .each = read_fact, .required = true},
        {"in", DOC_LIST, .low = 1, .high = INFINITY, .each = read_guard_word},
        {"from", DOC_NUMBER, DOC_AT(struct rule_guard, from), -1e12, 1e12},
        {"to", DOC_NUMBER, DOC_AT(struct rule_guard, to), -1e12, 1e12},
        {0}};
    if (doc_read(place, ROWS, part) && json_object_size(place->value) < 2)
        doc_fault(place, "needs 'in', 'from' or 'to'");
}

void rules_check_guard_free(struct rule_guard *guard)
{
    free(guard->words);
}

/* ---- symptoms and curves ---- */

void rules_check_symptom(const struct doc_place *place, void *part)
{
    int symptom = symptom_of(json_string_value(place->value));
    if (symptom < 0)
        doc_fault(place, SYMPTOM_UNKNOWN);
    else
        *(unsigned *)part |= 1u << symptom;
}

static void read_point(const struct doc_place *place, void *part)
{
    struct rules_check_curve *curve = part;
    const json_t *x = json_array_get(place->value, 0), *y = json_array_get(place->value, 1);
    struct rule_point point = {json_number_value(x), json_number_value(y)};
    if (json_array_size(place->value) != 2 || !json_is_number(x) || !json_is_number(y))
        doc_fault(place, "must be a point: two numbers [x, y]");
    else if (!isfinite(point.x) || !(point.bits >= curve->low && point.bits <= curve->high))
        doc_fault(place, "y must lie from %g to %g", curve->low, curve->high);
    else if (curve->count && !(point.x > curve->points[curve->count - 1].x))
        doc_fault(place, "x must be larger than in the point before");
    else
        curve->points[curve->count++] = point;
}

void rules_check_curve(const struct doc_place *place, void *part)
{
    static const struct doc_row POINTS = {
        .kind = DOC_LIST, .low = 2, .high = 64, .each = read_point};
    struct rules_check_curve *curve = part;
    curve->points = xcalloc(json_array_size(place->value), sizeof *curve->points);
    curve->count = 0;
    if (!doc_value(place, &POINTS, curve)) {
        free(curve->points);
        curve->points = NULL;
        curve->count = 0;
    }
}
