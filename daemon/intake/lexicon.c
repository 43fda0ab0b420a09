/* From a note to chosen answers. A field that the note answers in two ways stays open. */
#include "intake/lexicon.h"
#include "base/text.h"
#include "intake/harm_note.h"
#include "intake/lexicon_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- answers ---- */

/* What the match says about its field; NULL if nothing. New reference. */
static json_t *answer_of(const struct field *field, const struct lexicon_match *match)
{
    if (field->type == FIELD_BOOL) /* not dry does not make it wet; not wet is dry */
        return match->negated && !match->phrase->yes
                   ? NULL
                   : json_boolean(match->phrase->yes && !match->negated);
    if (match->negated)
        return NULL;
    if (field->type != FIELD_WHOLE)
        return json_string(match->phrase->word);
    long value = match->phrase->times ? match->phrase->times * match->number : match->phrase->plus;
    return value >= field->low && value <= field->high ? json_integer(value) : NULL;
}

static json_t *spoken(const struct reading *reading, const struct lexicon_match *match)
{
    size_t from = reading->words[match->from].from, to = reading->words[match->to - 1].to;
    return json_stringn(reading->note + from, to - from);
}

static void take(const struct reading *reading, const struct lexicon_match *match, const char *name,
                 json_t *answer, json_t *taken)
{
    char dotted[64];
    snprintf(dotted, sizeof dotted, "%s", name);
    for (char *p = dotted; *p; p++)
        if (*p == '/')
            *p = '.';
    json_array_append_new(taken, json_pack("{s:s, s:O, s:o}", "field", dotted, "value", answer,
                                           "from", spoken(reading, match)));
}

static bool holds(const json_t *list, const json_t *value)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (json_equal(json_array_get(list, i), value))
            return true;
    return false;
}

/* The field's answer in *ret (new reference), NULL if the note gives none or two. */
static json_t *answer_field(const struct reading *reading, int index, const json_t *before,
                            json_t *taken)
{
    const struct field *field = reading->language->fields[index].field;
    json_t *answers = json_array(), *ret = NULL;
    const struct lexicon_match *first = NULL;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        json_t *answer = match->phrase->field == index ? answer_of(field, match) : NULL;
        if (answer && !holds(answers, answer) && !holds(before, answer)) {
            json_array_append(answers, answer);
            first = first ? first : match;
            if (field->type == FIELD_WORDS)
                take(reading, match, field->name, answer, taken);
        }
        json_decref(answer);
    }
    if (field->type == FIELD_WORDS && json_array_size(answers)) {
        ret = json_incref(answers);
    } else if (json_array_size(answers) == 1) {
        ret = json_incref(json_array_get(answers, 0));
        take(reading, first, field->name, ret, taken);
    }
    json_decref(answers);
    return ret;
}

/* The object that holds the field (NULL if there is none), and the field's name in it. */
static json_t *home_of(json_t *complaint, const char *name, const char **ret_leaf)
{
    char group[64];
    const char *slash = strchr(name, '/');
    *ret_leaf = slash ? slash + 1 : name;
    snprintf(group, sizeof group, "%.*s", slash ? (int)(slash - name) : 0, name);
    return slash ? json_object_get(complaint, group) : complaint;
}

static json_t *home_make(json_t *complaint, const char *name)
{
    const char *leaf;
    json_t *home = home_of(complaint, name, &leaf);
    char group[64];
    if (home)
        return home;
    snprintf(group, sizeof group, "%.*s", (int)(leaf - 1 - name), name);
    home = json_object();
    json_object_set_new(complaint, group, home);
    return home;
}

static bool answered(const json_t *complaint, const char *name)
{
    const char *leaf;
    json_t *home = home_of((json_t *)complaint, name, &leaf);
    const json_t *value = json_object_get(home, leaf);
    if (home && !json_is_object(home)) /* not ours to repair */
        return true;
    return value && !json_is_null(value) && !(json_is_array(value) && !json_array_size(value));
}

/* "harm_read": a person has read it, and what is said of harm is what "harm" says:
 * desk/taken_back.h */
static bool is_read(const json_t *complaint)
{
    return json_is_true(json_object_get(complaint, "harm_read")) &&
           json_is_array(json_object_get(complaint, "harm"));
}

/* Whatever the complaint itself says of harm, as long as it is a list, or nothing at all. */
static bool hears_harm(const json_t *complaint)
{
    const json_t *harm = json_object_get(complaint, "harm");
    return !is_read(complaint) && (!harm || json_is_null(harm) || json_is_array(harm));
}

/* It is said, and no longer only possible. */
static void forget_possible(json_t *filled, json_t *taken)
{
    json_object_del(filled, "harm_possible");
    for (size_t i = json_array_size(taken); i-- > 0;) {
        const json_t *field = json_object_get(json_array_get(taken, i), "field");
        if (strcmp(json_string_value(field), "harm_possible") == 0)
            json_array_remove(taken, i);
    }
}

static void fill_from(struct reading *reading, const json_t *complaint, json_t *filled,
                      json_t *taken)
{
    lexicon_match(reading);
    for (int i = 0; i < reading->language->field_count; i++) {
        const struct field *field = reading->language->fields[i].field;
        /* several languages may add to a list, none to what the complaint itself answers */
        bool harm = strcmp(field->name, "harm") == 0;
        if ((harm ? !hears_harm(complaint) : answered(complaint, field->name)) ||
            (field->type != FIELD_WORDS && answered(filled, field->name)))
            continue;
        const char *leaf;
        const json_t *home = home_of(filled, field->name, &leaf);
        json_t *before = json_object_get(home, leaf);
        json_t *answer = answer_field(reading, i, before, taken);
        if (!answer)
            continue;
        if (json_is_array(before))
            json_array_extend(before, answer);
        else
            json_object_set(home_make(filled, field->name), leaf, answer);
        if (harm)
            forget_possible(filled, taken);
        json_decref(answer);
    }
}

/* Is the harm heard news to the complaint? If so it is added. */
static bool add_harm(json_t *filled, const char *field, json_t *value)
{
    json_t *said = json_object_get(filled, "harm");
    if (strcmp(field, "harm") != 0)
        return !json_array_size(said) && json_object_set(filled, field, value) == 0;
    if (holds(said, value) || (said && !json_is_null(said) && !json_is_array(said)))
        return false;
    if (!json_is_array(said))
        json_object_set_new(filled, field, json_array());
    json_array_append(json_object_get(filled, field), value);
    return true;
}

/* Looked for whatever the complaint itself says of harm: somebody who chose "injury" may have noted
 * that a child was ill as well. */
static void hear_harm(const struct lexicon *lexicon, const char *note, json_t *filled,
                      json_t *taken)
{
    const struct field_word *kinds = fields_find("harm")->words;
    struct harm_heard *heard = NULL;
    int count = harm_note_read(lexicon->harm, lexicon->weights, note, &heard);
    for (int i = 0; i < count; i++) {
        bool possible = heard[i].kind == HARM_WORDS_POSSIBLE;
        const char *field = possible ? "harm_possible" : "harm";
        json_t *value = possible ? json_true() : json_string(kinds[heard[i].kind].word);
        json_t *from = json_stringn(note + heard[i].from, heard[i].to - heard[i].from);
        if (add_harm(filled, field, value))
            json_array_append_new(
                taken, json_pack("{s:s, s:O, s:O}", "field", field, "value", value, "from", from));
        json_decref(value);
        json_decref(from);
    }
    free(heard);
}

static void read_text(const struct lexicon *lexicon, struct reading *reading,
                      const json_t *complaint, json_t *filled, json_t *taken)
{
    if (!is_read(complaint))
        hear_harm(lexicon, reading->note, filled, taken);
    if (strlen(reading->note) > (size_t)fields_find("note")->high)
        return; /* will be refused: nothing but harm matters */
    reading->count = lexicon_split(reading->note, &reading->words);
    for (int i = 0; i < reading->count; i++)
        reading->words[i].known = lexicon_knows(lexicon, reading->words[i].text);
    for (int i = 0; i < lexicon->count; i++) {
        reading->language = &lexicon->languages[i];
        fill_from(reading, complaint, filled, taken);
    }
    free(reading->words);
}

json_t *lexicon_fill(const struct lexicon *lexicon, const json_t *complaint, json_t **ret_taken)
{
    static const char *const TEXTS[] = {"note", "reason"};
    json_t *filled = json_deep_copy(complaint), *taken = json_array();
    const char *symptom = json_string_value(json_object_get(complaint, "symptom"));
    /* the last bit is that of fields of any symptom */
    struct reading reading = {.symptom = lexicon_symptom(symptom) | 1u << 31};
    for (size_t t = 0; lexicon && t < sizeof TEXTS / sizeof TEXTS[0]; t++) {
        reading.note = json_string_value(json_object_get(complaint, TEXTS[t]));
        if (reading.note)
            read_text(lexicon, &reading, complaint, filled, taken);
    }
    free(reading.matches);
    *ret_taken = taken;
    return filled;
}

/* ---- loading ---- */

static void add_language(struct doc *doc, const char *stem, void *arg)
{
    struct lexicon *lexicon = arg;
    (void)stem;
    lexicon->languages =
        xrealloc(lexicon->languages, (size_t)(lexicon->count + 1) * sizeof *lexicon->languages);
    lexicon_language_read(doc, &lexicon->languages[lexicon->count++]);
}

int lexicon_load(const char *dir, doc_report report, void *arg, struct lexicon **ret,
                 struct error *err)
{
    struct lexicon *lexicon = xcalloc(1, sizeof *lexicon);
    struct doc doc = {.report = report, .arg = arg};
    struct text_buffer common = {0}, harm = {0}, weights = {0};
    doc_below(dir, "common", &common);
    doc_below(dir, "harm", &harm);
    doc_below(dir, "weights", &weights);
    doc_each(&doc, dir, add_language, lexicon);
    common_words_load(common.data, report, arg, &lexicon->common, &doc.first);
    harm_words_load(harm.data, lexicon->common, report, arg, &lexicon->harm, &doc.first);
    harm_weights_load(weights.data, report, arg, &lexicon->weights, &doc.first);
    text_buffer_free(&common);
    text_buffer_free(&harm);
    text_buffer_free(&weights);
    if (doc.first.code) {
        lexicon_free(lexicon);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    lexicon_know(lexicon);
    *ret = lexicon;
    return 0;
}

void lexicon_free(struct lexicon *lexicon)
{
    if (!lexicon)
        return;
    for (int i = 0; i < lexicon->count; i++)
        lexicon_language_free(&lexicon->languages[i]);
    harm_weights_free(lexicon->weights);
    harm_words_free(lexicon->harm);
    common_words_free(lexicon->common);
    free(lexicon->known);
    free(lexicon->languages);
    free(lexicon);
}
