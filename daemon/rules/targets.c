#include "rules/targets.h"
#include "rules/vocabulary.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TARGETS_MOST = 128, COSTS_MOST = SYMPTOMS + 1 };
#define PER_MILLION_LEAST 1e-3
#define PER_MILLION_MOST 1e6
#define EACH_MOST 1e6
#define OTHER "other" /* of no kind that is ranked */

struct target {
    const char *plant; /* "": every plant's */
    const char *line;  /* "": every line's */
    const char *symptom;
    double per_million;
};
struct cost {
    const char *symptom;
    double each;
};
struct targets {
    struct target target[TARGETS_MOST];
    struct cost cost[COSTS_MOST];
    size_t target_count, cost_count;
    const char *currency;
    json_t *document; /* owns the texts */
};

static const struct target *find_target(const struct targets *t, const char *plant,
                                        const char *line, const char *symptom)
{
    for (size_t i = 0; t && i < t->target_count; i++) {
        const struct target *target = &t->target[i];
        if (strcmp(target->plant, plant) == 0 && strcmp(target->line, line) == 0 &&
            strcmp(target->symptom, symptom) == 0)
            return target;
    }
    return NULL;
}

static void read_target(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"plant", DOC_TEXT, DOC_AT(struct target, plant)},
        {"line", DOC_TEXT, DOC_AT(struct target, line)},
        {"symptom", DOC_TEXT, DOC_AT(struct target, symptom), .required = true},
        {"per_million", DOC_NUMBER, DOC_AT(struct target, per_million), .low = PER_MILLION_LEAST,
         .high = PER_MILLION_MOST, .required = true},
        {0}};
    struct targets *targets = part;
    struct target target = {.plant = "", .line = ""};
    if (!doc_read(place, ROWS, &target) || targets->target_count == TARGETS_MOST)
        return;
    struct doc_place symptom = doc_member(place, "symptom");
    if (symptom_of(target.symptom) < 0)
        doc_fault(&symptom,
                  "no such symptom, or one that is not ranked (mold, off-odor or staling)");
    else if (find_target(targets, target.plant, target.line, target.symptom))
        doc_fault(place, "that line and symptom have a target there already");
    else
        targets->target[targets->target_count++] = target;
}

static void read_cost(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"symptom", DOC_TEXT, DOC_AT(struct cost, symptom), .required = true},
        {"each", DOC_NUMBER, DOC_AT(struct cost, each), .low = 0, .high = EACH_MOST,
         .required = true},
        {0}};
    struct targets *targets = part;
    struct cost cost = {0};
    if (!doc_read(place, ROWS, &cost) || targets->cost_count == COSTS_MOST)
        return;
    struct doc_place symptom = doc_member(place, "symptom");
    if (symptom_of(cost.symptom) < 0 && strcmp(cost.symptom, OTHER) != 0)
        doc_fault(&symptom, "no such symptom (mold, off-odor, staling or other)");
    else if (isfinite(targets_cost(targets, cost.symptom)))
        doc_fault(place, "that symptom has a cost already");
    else
        targets->cost[targets->cost_count++] = cost;
}

static void read_all(struct doc *doc, struct targets *targets)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"targets", DOC_LIST, .low = 0, .high = TARGETS_MOST, .each = read_target,
         .required = true},
        {.name = "currency"},
        {"costs", DOC_LIST, .low = 0, .high = COSTS_MOST, .each = read_cost, .required = true},
        {0}};
    struct doc_place top = doc_top(doc);
    if (!doc_read(&top, ROWS, targets))
        return;
    struct doc_place currency = doc_member(&top, "currency");
    const char *text = json_string_value(currency.value);
    if (currency.value && !text)
        doc_fault(&currency, "must be text");
    else if (targets->cost_count && (!text || !*text))
        doc_fault(&currency, "is needed where costs are named");
    targets->currency = text;
    targets->document = json_incref(doc->root);
}

int targets_load(const char *path, doc_report report, void *arg, struct targets **ret,
                 struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct targets *targets = xcalloc(1, sizeof *targets);
    if (doc_open(&doc, path, true) == 0)
        read_all(&doc, targets);
    doc_close(&doc);
    if (doc.first.code) {
        targets_free(targets);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    *ret = targets;
    return 0;
}

const char *targets_plant(const struct targets *targets, size_t row)
{
    return row < targets->target_count ? targets->target[row].plant : NULL;
}

void targets_free(struct targets *targets)
{
    if (targets)
        json_decref(targets->document);
    free(targets);
}

double targets_per_million(const struct targets *targets, const char *plant, const char *line,
                           const char *symptom)
{
    const char *const at[][2] = {{plant, line}, {plant, ""}, {"", line}, {"", ""}};
    for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
        const struct target *target = find_target(targets, at[i][0], at[i][1], symptom);
        if (target)
            return target->per_million;
    }
    return NAN;
}

double targets_cost(const struct targets *targets, const char *symptom)
{
    for (size_t i = 0; targets && i < targets->cost_count; i++) {
        if (strcmp(targets->cost[i].symptom, symptom) == 0)
            return targets->cost[i].each;
    }
    return NAN;
}

const char *targets_currency(const struct targets *targets)
{
    return targets && targets->cost_count ? targets->currency : NULL;
}
