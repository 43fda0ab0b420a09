/* One cause's file. */
#include "rules/catalogue.h"
#include "rules/rules_check.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BITS_LIMIT 12.0 /* one clue in 4096 is as sure as a rule may be */

static const char *const AS[] = {"value", "z", "ratio", "bits", NULL};
static const enum evidence_how HOW[] = {EVIDENCE_VALUE, EVIDENCE_Z, EVIDENCE_RATIO, EVIDENCE_BITS};

/* ---- evidence ---- */

/* One item as written. */
struct item {
    struct rule_evidence evidence;
    struct change change;
    bool changed;
    int as; /* index into AS; -1: not given */
};

static void read_change(const struct doc_place *place, void *part)
{
    struct item *item = part;
    item->changed = change_read(place, &item->change);
}

static void read_item_fact(const struct doc_place *place, void *part)
{
    struct item *item = part;
    item->evidence.fact = rules_check_fact(place, item->changed ? &item->change : NULL);
}

static void read_limit(const struct doc_place *place, void *part)
{
    struct rule_evidence *evidence = part;
    const json_t *low = json_array_get(place->value, 0), *high = json_array_get(place->value, 1);
    evidence->low = json_number_value(low);
    evidence->high = json_number_value(high);
    if (json_array_size(place->value) != 2 || !json_is_number(low) || !json_is_number(high) ||
        !(evidence->low >= -BITS_LIMIT && evidence->low <= 0) ||
        !(evidence->high >= 0 && evidence->high <= BITS_LIMIT))
        doc_fault(place, "must be [low, high] with -12 <= low <= 0 <= high <= 12");
}

static void read_bits(const struct doc_place *place, void *part)
{
    static const struct doc_row BITS = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = -BITS_LIMIT, .high = BITS_LIMIT};
    struct rule_evidence *evidence = part;
    const struct fact_name *name = rules_check_name(place, evidence->fact);
    double bits = 0;
    doc_value(place, &BITS, &bits);
    if (strcmp(place->name, "*") == 0)
        evidence->other = bits;
    else if (rules_check_word(name, place->name))
        evidence->words[evidence->word_count++] = (struct rule_word){place->name, bits};
    else
        doc_fault(place, "'%s' has no such word", name->text);
}

static void check_table(const struct doc_place *place, struct rule_evidence *evidence)
{
    static const struct doc_row TABLE = {
        .kind = DOC_MAP, .low = 1, .high = INFINITY, .each = read_bits};
    const struct fact_name *name = rules_check_name(place, evidence->fact);
    evidence->how = EVIDENCE_TABLE;
    if (name && !name->words) {
        doc_fault(place, "a table needs a fact that has words; %s is a number", name->text);
        return;
    }
    evidence->words = xcalloc(json_object_size(place->value), sizeof *evidence->words);
    doc_value(place, &TABLE, evidence);
}

static void check_curve(const struct doc_place *object, struct rule_evidence *evidence)
{
    struct rules_check_curve curve = {.low = -BITS_LIMIT, .high = BITS_LIMIT};
    struct doc_place place = doc_member(object, "curve");
    if (!place.value) {
        doc_fault(object, "needs a 'curve' or a 'table'");
        return;
    }
    rules_check_curve(&place, &curve);
    evidence->curve = curve.points;
    evidence->point_count = curve.count;
}

/* How a fact that is no word and no age that a model predicts speaks. */
static void check_as(const struct doc_place *object, struct item *item)
{
    const struct fact_name *name = rules_check_name(object, item->evidence.fact);
    struct doc_place as = doc_member(object, "as"), fact = doc_member(object, "fact");
    if (item->as < 0) {
        if (!as.value)
            doc_fault(&as, "'as' is missing");
        return;
    }
    item->evidence.how = HOW[item->as];
    if (name && name->words)
        doc_fault(&fact, "this fact has words: give a 'table'");
    if (item->evidence.how != EVIDENCE_BITS)
        check_curve(object, &item->evidence);
    else if (name && name->kind != FACT_COMPANY)
        doc_fault(&fact, "only company facts are bits already");
}

static void check_how(const struct doc_place *object, struct item *item)
{
    const struct fact_name *name = rules_check_name(object, item->evidence.fact);
    struct doc_place change = doc_member(object, "change"), table = doc_member(object, "table");
    bool predicted = name && name->kind == FACT_MODEL && name->code <= MODEL_ROPE_AGE;
    if (name && predicted && !change.value)
        doc_fault(&change, "'change' is missing");
    else if (name && !predicted && change.value)
        doc_fault(&change, "only an age that a model predicts can change");
    if (table.value)
        check_table(&table, &item->evidence);
    else if (predicted)
        item->evidence.how = EVIDENCE_MODEL;
    else
        check_as(object, item);
}

static int group_of(const struct doc_place *object, struct rule_cause *cause, const char *name)
{
    struct doc_place place = doc_member(object, "group");
    if (!name)
        return -1;
    for (int i = 0; i < cause->evidence_count; i++)
        if (cause->evidence[i].group_name && strcmp(cause->evidence[i].group_name, name) == 0)
            return cause->evidence[i].group;
    if (cause->group_count == RULE_GROUPS)
        doc_fault(&place, "more than %d groups", RULE_GROUPS);
    return cause->group_count++;
}

static void read_item(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"change", DOC_OTHER, .each = read_change},
        {"fact", DOC_OTHER, .each = read_item_fact, .required = true},
        {"as", DOC_WORD, DOC_AT(struct item, as), .words = AS},
        {.name = "curve"},
        {.name = "table"},
        {"scale", DOC_NUMBER, DOC_AT(struct item, evidence.scale), -4, 4},
        {"limit", DOC_OTHER, DOC_AT(struct item, evidence), .each = read_limit},
        {"group", DOC_TEXT, DOC_AT(struct item, evidence.group_name)},
        {"when", DOC_OTHER, DOC_AT(struct item, evidence.when), .each = rules_check_guard},
        {"unless", DOC_OTHER, DOC_AT(struct item, evidence.unless), .each = rules_check_guard},
        {"symptoms", DOC_LIST, DOC_AT(struct item, evidence.symptoms), 1, SYMPTOMS,
         .each = rules_check_symptom},
        {"because", DOC_TEXT, DOC_AT(struct item, evidence.because), .required = true},
        {"source", DOC_TEXT, DOC_AT(struct item, evidence.source), .required = true},
        {.name = "note"},
        {0}};
    struct rule_cause *cause = part;
    struct item item = {.evidence = {.fact = -1,
                                     .scale = 1,
                                     .low = -6,
                                     .high = 6,
                                     .when = rules_check_no_guard(),
                                     .unless = rules_check_no_guard()},
                        .as = -1};
    doc_read(place, ROWS, &item);
    if (!item.evidence.symptoms)
        item.evidence.symptoms = (1u << SYMPTOMS) - 1;
    if (json_is_object(place->value))
        check_how(place, &item);
    item.evidence.group = group_of(place, cause, item.evidence.group_name);
    cause->evidence =
        xrealloc(cause->evidence, (size_t)(cause->evidence_count + 1) * sizeof *cause->evidence);
    cause->evidence[cause->evidence_count++] = item.evidence;
}

/* ---- what affected lots share ---- */

static bool reach_known(const struct rules *rules, const char *word)
{
    if (strcmp(word, "lot") == 0)
        return true;
    if (strncmp(word, "place-window:", 13) == 0)
        return vocabulary_place(rules->vocabulary, word + 13);
    for (int i = 0; i < REACH_WINDOW; i++)
        if (strcmp(rules_reach_name((enum rule_reach)i), word) == 0)
            return true;
    return false;
}

static void read_reach(const struct doc_place *place, void *part)
{
    struct rule_cause *cause = part;
    const char *word = json_string_value(place->value);
    if (!word || !reach_known(place->doc->context, word)) {
        doc_fault(place, "no such condition to share");
        return;
    }
    cause->reach = xrealloc(cause->reach, (size_t)(cause->reach_count + 1) * sizeof *cause->reach);
    cause->reach[cause->reach_count++] = word;
}

static void read_reach_fact(const struct doc_place *place, void *part)
{
    static const char *const LEVELS[] = {"value", "z", "ratio", NULL}; /* AS without its bits */
    struct fact_curve {
        const char *fact;
        int as;
        struct rules_check_curve curve;
    } read = {.curve = {.low = 0, .high = 1}};
    static const struct doc_row ROWS[] = {
        {"fact", DOC_TEXT, DOC_AT(struct fact_curve, fact), .required = true},
        {"as", DOC_WORD, DOC_AT(struct fact_curve, as), .words = LEVELS, .required = true},
        {"curve", DOC_OTHER, DOC_AT(struct fact_curve, curve), .each = rules_check_curve,
         .required = true},
        {0}};
    struct rule_evidence *evidence = part;
    struct doc_place fact = doc_member(place, "fact");
    if (doc_read(place, ROWS, &read))
        evidence->fact = rules_check_fact(&fact, NULL);
    evidence->how = HOW[read.as];
    evidence->curve = read.curve.points;
    evidence->point_count = read.curve.count;
}

/* ---- the file ---- */

static void read_prior(const struct doc_place *place, void *part)
{
    struct rule_cause *cause = part;
    int symptom = symptom_of(place->name);
    double prior = json_number_value(place->value);
    if (symptom < 0)
        doc_fault(place, SYMPTOM_UNKNOWN);
    else if (!(prior > 0 && prior <= 1000))
        doc_fault(place, "a prior weight must be a number above 0, 1000 at most");
    else
        cause->prior[symptom] = prior;
}

static void read_check(const struct doc_place *place, void *part)
{
    struct check {
        const char *what, *who, *effort;
        double settles;
    } check;
    static const struct doc_row ROWS[] = {
        {"do", DOC_TEXT, DOC_AT(struct check, what), .required = true},
        {"who", DOC_TEXT, DOC_AT(struct check, who), .words = RULES_CHECK_READERS + 1,
         .required = true},
        {"effort", DOC_TEXT, DOC_AT(struct check, effort), .words = RULES_CHECK_EFFORT,
         .required = true},
        {"settles", DOC_NUMBER, DOC_AT(struct check, settles), 0, 1},
        {"mind", DOC_LIST, .low = 1, .high = 20, .each = rules_check_mind},
        {.name = "note"},
        {0}};
    (void)part;
    doc_read(place, ROWS, &check);
}

static const struct doc_row SAYING = {.kind = DOC_TEXT, .size = sizeof(const char *)};

/* A text, or one with what it touches. */
static void read_action(const struct doc_place *place, void *part)
{
    struct action {
        const char *what;
    } action;
    static const struct doc_row ROWS[] = {
        {"do", DOC_TEXT, DOC_AT(struct action, what), .required = true},
        {"mind", DOC_LIST, .low = 1, .high = 20, .each = rules_check_mind},
        {0}};
    (void)part;
    if (json_is_object(place->value))
        doc_read(place, ROWS, &action);
    else
        doc_value(place, &SAYING, &action.what);
}

/* A caution's id, or a text of the plant's own: one word is no text. */
static void read_caution(const struct doc_place *place, void *part)
{
    const char *text = NULL;
    if (doc_value(place, &SAYING, &text) && !strchr(text, ' '))
        rules_check_mind(place, part);
}

static void check_id(const struct doc_place *top, const char *id, const char *file_stem)
{
    struct doc_place place = doc_member(top, "id");
    if (id && strcmp(id, file_stem) != 0)
        doc_fault(&place, "must be the file's name, %s", file_stem);
    if (id && rules_cause(top->doc->context, id) >= 0)
        doc_fault(&place, "this id is taken by another file");
}

static void check_dose(const struct doc_place *top, const char *quantity)
{
    const struct rules *rules = top->doc->context;
    struct doc_place place = doc_member(top, "needs_dose");
    if (quantity && !catalogue_quantity(rules->catalogue, quantity))
        doc_fault(&place, "no such quantity");
}

void rules_check_cause(struct doc *doc, const char *file_stem)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {"id", DOC_TEXT, DOC_AT(struct rule_cause, id), .required = true},
        {"title", DOC_TEXT, DOC_AT(struct rule_cause, title), .required = true},
        {"symptoms", DOC_MAP, .low = 1, .high = SYMPTOMS, .each = read_prior, .required = true},
        {"evidence", DOC_LIST, .each = read_item},
        {"reach", DOC_LIST, .each = read_reach},
        {"reach_fact", DOC_OTHER, DOC_AT(struct rule_cause, reach_fact), .each = read_reach_fact},
        {"checks", DOC_LIST, .each = read_check},
        {"actions", DOC_LIST, .each = read_action},
        {"cautions", DOC_LIST, .each = read_caution},
        {"caller_cautions", DOC_TEXTS, .at = offsetof(struct rule_cause, caller_cautions)},
        {"sources", DOC_TEXTS, .at = offsetof(struct rule_cause, sources)},
        {"background", DOC_FLAG, DOC_AT(struct rule_cause, background)},
        {"after_dispatch", DOC_FLAG, DOC_AT(struct rule_cause, after_dispatch)},
        {"needs_dose", DOC_TEXT, DOC_AT(struct rule_cause, needs_dose)},
        {.name = "note"},
        {0}};
    struct rules *rules = doc->context;
    struct doc_place top = doc_top(doc);
    struct rule_cause cause = {.document = json_incref(doc->root),
                               .file = xstrdup(doc->source),
                               .reach_fact = {.fact = -1,
                                              .when = rules_check_no_guard(),
                                              .unless = rules_check_no_guard()}};
    doc_read(&top, ROWS, &cause);
    check_id(&top, cause.id, file_stem);
    check_dose(&top, cause.needs_dose);
    cause.checks = json_object_get(doc->root, "checks");
    cause.actions = json_object_get(doc->root, "actions");
    cause.cautions = json_object_get(doc->root, "cautions");
    rules->causes =
        xrealloc(rules->causes, (size_t)(rules->cause_count + 1) * sizeof *rules->causes);
    rules->causes[rules->cause_count++] = cause;
}

void rules_cause_evidence_free(struct rule_evidence *evidence)
{
    free(evidence->curve);
    free(evidence->words);
    json_decref(evidence->because_told);
    rules_check_guard_free(&evidence->when);
    rules_check_guard_free(&evidence->unless);
}
