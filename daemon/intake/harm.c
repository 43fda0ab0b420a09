#include "intake/harm.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/lexicon_inside.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What was observed that may be harm: the list of words in the file, the field they are of. */
static const struct {
    const char *list, *field;
} OBSERVED[] = {{"odors", "observed/odor"}, {"bags", "observed/bag"}};
enum { OBSERVED_COUNT = sizeof OBSERVED / sizeof *OBSERVED };

/* ---- what is asked, as the file has it ---- */

struct asks {
    const json_t *caller, *plant, *lab;
};

struct kinds {
    struct asks illness, injury, allergic, foreign, tampering, label;
};

struct ask {
    const char *source;
    struct asks harm, other;
    struct kinds kinds;
};

static const struct doc_row ASKS[] = {
    {"caller", DOC_TEXTS, .at = offsetof(struct asks, caller), .low = 1, .high = INFINITY,
     .required = true},
    {"plant", DOC_TEXTS, .at = offsetof(struct asks, plant), .low = 1, .high = INFINITY},
    {"lab", DOC_TEXTS, .at = offsetof(struct asks, lab), .low = 1, .high = INFINITY},
    {0}};

static const struct doc_row OF_KIND[] = {
    {"caller", DOC_TEXTS, .at = offsetof(struct asks, caller), .low = 1, .high = INFINITY},
    {"plant", DOC_TEXTS, .at = offsetof(struct asks, plant), .low = 1, .high = INFINITY},
    {"lab", DOC_TEXTS, .at = offsetof(struct asks, lab), .low = 1, .high = INFINITY},
    {0}};

static const struct doc_row KINDS[] = {
    {"illness", DOC_OBJECT, DOC_AT(struct kinds, illness), .rows = OF_KIND},
    {"injury", DOC_OBJECT, DOC_AT(struct kinds, injury), .rows = OF_KIND},
    {"allergic-reaction", DOC_OBJECT, DOC_AT(struct kinds, allergic), .rows = OF_KIND},
    {"foreign-matter", DOC_OBJECT, DOC_AT(struct kinds, foreign), .rows = OF_KIND},
    {"tampering", DOC_OBJECT, DOC_AT(struct kinds, tampering), .rows = OF_KIND},
    {"wrong-label", DOC_OBJECT, DOC_AT(struct kinds, label), .rows = OF_KIND},
    {0}};

static const struct doc_row ASK[] = {
    {"source", DOC_TEXT, DOC_AT(struct ask, source), .required = true},
    {"harm", DOC_OBJECT, DOC_AT(struct ask, harm), .rows = ASKS, .required = true},
    {"other", DOC_OBJECT, DOC_AT(struct ask, other), .rows = ASKS, .required = true},
    {"kinds", DOC_OBJECT, DOC_AT(struct ask, kinds), .rows = KINDS},
    {0}};

/* ---- rows of a laboratory ---- */

struct laboratory {
    const char *source;
    const json_t *denials, *units, *methods, *results, *tools, *happened, *persons;
};

#define WORDS(name)                                                                                \
    {                                                                                              \
#name, DOC_TEXTS, .at = offsetof(struct laboratory, name), .high = INFINITY                \
    }
static const struct doc_row LABORATORY[] = {
    {"source", DOC_TEXT, DOC_AT(struct laboratory, source), .required = true},
    WORDS(denials),
    WORDS(units),
    WORDS(methods),
    WORDS(results),
    WORDS(tools),
    WORDS(happened),
    WORDS(persons),
    {0}};
#undef WORDS

/* ---- the file ---- */

static void check_word(const struct doc_place *place, const char *path)
{
    const struct field *field = fields_find(path);
    const char *word = json_string_value(place->value);
    if (!word || !fields_word(field->words, word))
        doc_fault(place, "no word of the field \"%s\"", fields_leaf(field));
}

static void check_odor(const struct doc_place *place, void *part)
{
    (void)part;
    check_word(place, OBSERVED[0].field);
}

static void check_bag(const struct doc_place *place, void *part)
{
    (void)part;
    check_word(place, OBSERVED[1].field);
}

int harm_load(const char *path, doc_report report, void *arg, json_t **ret, struct error *err)
{
    struct words {
        const char *script;
        const json_t *mail;
    };
    struct harm {
        struct words said, possible;
        const char *call_back;
        struct ask ask;
        struct laboratory laboratory;
        double gather_min;
        const json_t *grave;
    } harm;
    static const struct doc_row POSSIBLE[] = {
        {"script", DOC_TEXT, DOC_AT(struct words, script), .required = true},
        {"odors", DOC_LIST, .each = check_odor},
        {"bags", DOC_LIST, .each = check_bag},
        {"mail", DOC_TEXTS, .at = offsetof(struct words, mail), .low = 1, .high = INFINITY,
         .required = true},
        {0}};
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"script", DOC_TEXT, DOC_AT(struct harm, said.script), .required = true},
        {"call_back", DOC_TEXT, DOC_AT(struct harm, call_back)},
        {"mail", DOC_TEXTS, .at = offsetof(struct harm, said.mail), .low = 1, .high = INFINITY,
         .required = true},
        {"possible", DOC_OBJECT, DOC_AT(struct harm, possible), .rows = POSSIBLE, .required = true},
        {"ask", DOC_OBJECT, DOC_AT(struct harm, ask), .rows = ASK},
        {"laboratory", DOC_OBJECT, DOC_AT(struct harm, laboratory), .rows = LABORATORY},
        {"grave", DOC_TEXTS, .at = offsetof(struct harm, grave), .high = INFINITY},
        {"gather_min", DOC_NUMBER, DOC_AT(struct harm, gather_min), .high = 60},
        {0}};
    struct doc doc = {.report = report, .arg = arg};
    if (doc_open(&doc, path, false) == 0) {
        struct doc_place top = doc_top(&doc);
        if (doc_read(&top, ROWS, &harm))
            *ret = json_incref(doc.root);
    }
    doc_close(&doc);
    if (err && !err->code && doc.first.code)
        *err = doc.first;
    return doc.first.code;
}

static const json_t *words_of(const json_t *harm, bool possible)
{
    return possible ? json_object_get(harm, "possible") : harm;
}

const char *harm_script_of(const json_t *harm, bool possible)
{
    return json_string_value(json_object_get(words_of(harm, possible), "script"));
}

json_t *harm_read_out(const json_t *harm, bool possible, bool reachable)
{
    const char *script = harm_script_of(harm, possible);
    const char *call_back = json_string_value(json_object_get(harm, "call_back"));
    return possible || reachable || !call_back ? json_string(script)
                                               : json_sprintf("%s %s", script, call_back);
}

const json_t *harm_needs_of(const json_t *harm, bool possible)
{
    return json_object_get(words_of(harm, possible), "mail");
}

/* Of the note, where it was read from that; else the word as it was chosen. */
static json_t *as_said(const struct field *of, const json_t *word, const json_t *taken)
{
    size_t i;
    const json_t *row;
    json_array_foreach(taken, i, row)
    {
        const char *field = json_string_value(json_object_get(row, "field"));
        if (fields_named(field) == of && json_equal(json_object_get(row, "value"), word))
            return json_object_get(row, "from");
    }
    return (json_t *)(uintptr_t)word;
}

/* The first word of `list` that was observed, one or several; borrowed, NULL: none. */
static const json_t *observed_of(const json_t *list, const json_t *observed)
{
    size_t i;
    const json_t *word;
    if (json_is_string(observed))
        return jsonx_holds(list, observed) ? observed : NULL;
    json_array_foreach(observed, i, word)
    {
        if (jsonx_holds(list, word))
            return word;
    }
    return NULL;
}

void harm_fill_observed(const json_t *harm, json_t *filled, json_t *taken)
{
    const json_t *possible = json_object_get(harm, "possible");
    if (lexicon_is_read(filled) || json_array_size(json_object_get(filled, "harm")) ||
        json_is_true(json_object_get(filled, "harm_possible")))
        return;
    for (int i = 0; i < OBSERVED_COUNT; i++) {
        const struct field *field = fields_find(OBSERVED[i].field);
        const json_t *word =
            observed_of(json_object_get(possible, OBSERVED[i].list), fields_get(filled, field));
        if (!word)
            continue;
        json_object_set_new(filled, "harm_possible", json_true());
        lexicon_tell(taken, "harm_possible", json_true(), json_incref(as_said(field, word, taken)));
        return;
    }
}

int64_t harm_gather_ms(const json_t *harm)
{
    static const double USUAL_MIN = 10;
    const json_t *minutes = json_object_get(harm, "gather_min");
    return (int64_t)((minutes ? json_number_value(minutes) : USUAL_MIN) * 60000);
}

/* Whole, or as what a word begins with ("hospital*"). */
static bool stands_in(const char *folded, const char *word)
{
    size_t length = strlen(word);
    bool begins = length && word[length - 1] == '*';
    length -= begins;
    for (const char *at = folded; length && *at; at++) {
        bool first = at == folded || !isalnum((unsigned char)at[-1]);
        if (first && strncmp(at, word, length) == 0 &&
            (begins || !isalnum((unsigned char)at[length])))
            return true;
    }
    return false;
}

json_t *harm_grave_of(const json_t *harm, const char *text)
{
    size_t i, size = text ? 2 * strlen(text) + 1 : 0;
    const json_t *list = json_object_get(harm, "grave"), *word;
    if (!size || !json_array_size(list))
        return NULL;
    char *folded = xcalloc(1, size);
    json_t *found = json_array();
    text_fold(text, folded, size);
    json_array_foreach(list, i, word)
    {
        if (stands_in(folded, json_string_value(word)))
            json_array_append(found, (json_t *)word);
    }
    free(folded);
    if (json_array_size(found))
        return found;
    json_decref(found);
    return NULL;
}

/* Each once: what was found is asked of injury and of foreign matter. */
static void add_asks(json_t *list, const json_t *asks, const char *who)
{
    size_t i;
    json_t *text;
    json_array_foreach(json_object_get(asks, who), i, text)
    {
        json_t *ask = json_pack("{s:O, s:s}", "ask", text, "of", who);
        bool asked = false;
        for (size_t k = 0; k < json_array_size(list); k++)
            asked = asked || json_equal(json_array_get(list, k), ask);
        if (!asked)
            json_array_append(list, ask);
        json_decref(ask);
    }
}

json_t *harm_asks_of(const json_t *harm, enum harm_about about, const json_t *kinds)
{
    static const char *const WHO[] = {"caller", "plant", "lab"};
    const json_t *ask = json_object_get(harm, "ask");
    json_t *list = json_array();
    for (size_t w = 0; w < sizeof WHO / sizeof *WHO; w++) {
        size_t i;
        const json_t *kind;
        add_asks(list, json_object_get(ask, about == HARM_OTHER ? "other" : "harm"), WHO[w]);
        json_array_foreach(kinds, i, kind)
        {
            add_asks(list, json_object_get(json_object_get(ask, "kinds"), json_string_value(kind)),
                     WHO[w]);
        }
    }
    if (!json_array_size(list) || about == HARM_POSSIBLE)
        json_array_insert_new(list, 0,
                              json_pack("{s:s, s:s}", "ask",
                                        harm_script_of(harm, about != HARM_SAID), "of", "caller"));
    return list;
}
