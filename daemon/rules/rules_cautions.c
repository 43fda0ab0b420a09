/* rules/cautions.json: what people must mind, who reads it, and which symptom or pack brings it. */
#include "base/text.h"
#include "intake/fields.h"
#include "rules/rules_check.h"
#include <stdlib.h>
#include <string.h>

const char *const RULES_CHECK_READERS[] = {[READER_DESK] = "desk",
                                           [READER_LAB] = "lab",
                                           [READER_QA] = "qa",
                                           [READER_PLANT] = "plant",
                                           NULL};

static void read_reader(const struct doc_place *place, void *part)
{
    static const struct doc_row ROW = {
        .kind = DOC_WORD, .size = sizeof(int), .words = RULES_CHECK_READERS, .required = true};
    int reader = 0;
    if (doc_value(place, &ROW, &reader))
        *(unsigned *)part |= 1u << reader;
}

static void read_bag(const struct doc_place *place, void *part)
{
    const struct field_word *words = fields_find("observed/bag")->words;
    const char *text = json_string_value(place->value);
    const struct field_word *word = text ? fields_word(words, text) : NULL;
    if (!word)
        doc_fault(place, "no word of the field \"bag\"");
    else
        *(unsigned *)part |= 1u << (word - words);
}

static void read_caution(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"id", DOC_TEXT, DOC_AT(struct rule_caution, id), .required = true},
        {"for", DOC_LIST, DOC_AT(struct rule_caution, readers), .low = 1, .high = 4,
         .each = read_reader, .required = true},
        {"symptoms", DOC_LIST, DOC_AT(struct rule_caution, symptoms), .low = 1, .high = SYMPTOMS,
         .each = rules_check_symptom},
        {"bags", DOC_LIST, DOC_AT(struct rule_caution, bags), .low = 1, .high = 8,
         .each = read_bag},
        {"text", DOC_TEXT, DOC_AT(struct rule_caution, text), .required = true},
        {.name = "source"},
        {0}};
    struct rules *rules = place->doc->context;
    struct rule_caution caution = {0};
    (void)part;
    if (!doc_read(place, ROWS, &caution))
        return;
    if (rules_caution(rules, caution.id))
        doc_fault(place, "this id is taken by another caution");
    rules->cautions =
        xrealloc(rules->cautions, (size_t)(rules->caution_count + 1) * sizeof *rules->cautions);
    rules->cautions[rules->caution_count++] = caution;
}

void rules_check_cautions(struct doc *doc, const char *file_stem)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"cautions", DOC_LIST, .each = read_caution, .required = true},
        {0}};
    struct rules *rules = doc->context;
    struct doc_place top = doc_top(doc);
    (void)file_stem;
    rules->cautions_document = json_incref(doc->root);
    doc_read(&top, ROWS, rules);
}

void rules_check_mind(const struct doc_place *place, void *part)
{
    const char *id = json_string_value(place->value);
    (void)part;
    if (!id || !rules_caution(place->doc->context, id))
        doc_fault(place, "no such caution: cautions.json has their ids");
}
