/* Finding what a note says. Every phrase is looked for at every word; where phrases for one field
 * overlap, the longer one speaks ("blue green" before "green"). A field that the note answers in
 * two ways stays open. */
#include "intake/lexicon.h"
#include "base/text.h"
#include "intake/lexicon_inside.h"
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILLER_RUN 3     /* words that may stand between two words of a phrase */
#define NEGATION_REACH 4 /* words back from a phrase to the word that negates it */
#define LIST_REACH 9     /* the same in an enumeration: "no smell, spots or moisture" */
#define MATCHES 400

struct match {
    const struct phrase *phrase;
    int from, to;    /* words of the note, `to` past the last */
    int said, slips; /* words of the phrase found, letters wrong in them */
    long number;     /* what "#" stood for */
    bool negated;
};
struct reading {
    const struct language *language;
    const char *note;
    const struct note_word *words;
    int count;
    const char *symptom;
    struct match matches[MATCHES];
    int match_count;
};

/* ---- phrases ---- */

static bool try_phrase(const struct reading *reading, const struct phrase *phrase, int at,
                       struct match *ret)
{
    *ret = (struct match){.phrase = phrase, .from = at, .said = phrase->words.count};
    for (int i = 0; i < phrase->words.count; i++) {
        const struct lexeme *lexeme = &phrase->words.items[i];
        int distance = -1;
        for (int run = 0; at < reading->count; run++, at++) {
            if (at > ret->from && reading->words[at].before != PAUSE_NONE)
                return false;
            distance = lexicon_distance(reading->language, lexeme, &reading->words[at]);
            if (distance >= 0)
                break;
            if (!i || run == FILLER_RUN ||
                !lexicon_in(&reading->language->filler, &reading->words[at]))
                return false;
        }
        if (distance < 0)
            return false;
        if (lexeme->number)
            ret->number = lexicon_number(reading->language, &reading->words[at]);
        ret->slips += distance;
        at++;
    }
    ret->to = at;
    return true;
}

static bool joined(const struct reading *reading, int from, int to)
{
    for (int i = from > 0 ? from : 0; i < to && i < reading->count; i++)
        if (reading->words[i].before == PAUSE_SENTENCE && i > from)
            return false;
        else if (lexicon_in(&reading->language->joins, &reading->words[i]))
            return true;
    return false;
}

static bool negated(const struct reading *reading, const struct match *match)
{
    const struct language *language = reading->language;
    if (match->to < reading->count && reading->words[match->to].before == PAUSE_NONE &&
        lexicon_in(&language->negated_by, &reading->words[match->to]))
        return true;
    bool list = joined(reading, match->from - 1, match->to + 4);
    int reach = list ? LIST_REACH : NEGATION_REACH;
    for (int i = match->from - 1; i >= 0 && i >= match->from - reach; i--) {
        enum pause pause = reading->words[i + 1].before;
        if (pause == PAUSE_SENTENCE || (pause == PAUSE_COMMA && !list) ||
            lexicon_in(&language->stops, &reading->words[i]))
            return false;
        if (lexicon_in(&language->negation, &reading->words[i]))
            return true;
    }
    return false;
}

static bool fits_symptom(const struct reading *reading, const struct phrase *phrase)
{
    if (phrase->field < 0)
        return true;
    const json_t *symptoms = reading->language->fields[phrase->field].symptoms;
    for (size_t i = 0; i < json_array_size(symptoms); i++)
        if (strcmp(json_string_value(json_array_get(symptoms, i)), reading->symptom) == 0)
            return true;
    return !symptoms;
}

static int by_weight(const void *left, const void *right)
{
    const struct match *a = left, *b = right;
    if (a->said != b->said)
        return b->said - a->said;
    if (a->slips != b->slips)
        return a->slips - b->slips;
    if ((a->phrase->field < 0) != (b->phrase->field < 0))
        return a->phrase->field < 0 ? -1 : 1;
    return a->from - b->from;
}

/* The matches that stand, in front. */
static void keep_heaviest(struct reading *reading)
{
    int kept = 0;
    qsort(reading->matches, (size_t)reading->match_count, sizeof reading->matches[0], by_weight);
    for (int i = 0; i < reading->match_count; i++) {
        const struct match match = reading->matches[i];
        bool stands = true;
        for (int j = 0; j < kept && stands; j++) {
            const struct match *other = &reading->matches[j];
            bool meet = match.from < other->to && other->from < match.to;
            stands =
                !meet || (other->phrase->field >= 0 && other->phrase->field != match.phrase->field);
        }
        if (stands)
            reading->matches[kept++] = match;
    }
    reading->match_count = kept;
}

static void read_note(struct reading *reading)
{
    for (int at = 0; at < reading->count; at++) {
        for (int i = 0; i < reading->language->phrase_count; i++) {
            struct match match;
            const struct phrase *phrase = &reading->language->phrases[i];
            if (reading->match_count < MATCHES && fits_symptom(reading, phrase) &&
                try_phrase(reading, phrase, at, &match)) {
                match.negated = negated(reading, &match);
                reading->matches[reading->match_count++] = match;
            }
        }
    }
    keep_heaviest(reading);
}

/* ---- answers ---- */

/* What the match says about its field; NULL if nothing. New reference. */
static json_t *answer_of(const struct field *field, const struct match *match)
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

static json_t *spoken(const struct reading *reading, const struct match *match)
{
    size_t from = reading->words[match->from].from, to = reading->words[match->to - 1].to;
    return json_stringn(reading->note + from, to - from);
}

static void take(const struct reading *reading, const struct match *match, const char *name,
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
static json_t *answer_field(const struct reading *reading, int index, json_t *taken)
{
    const struct field *field = reading->language->fields[index].field;
    json_t *answers = json_array(), *ret = NULL;
    const struct match *first = NULL;
    for (int i = 0; i < reading->match_count; i++) {
        const struct match *match = &reading->matches[i];
        json_t *answer = match->phrase->field == index ? answer_of(field, match) : NULL;
        if (answer && !holds(answers, answer)) {
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

/* The object that holds the field, and the field's name in it. */
static json_t *home_of(json_t *complaint, const char *name, const char **ret_leaf)
{
    const char *slash = strchr(name, '/');
    *ret_leaf = slash ? slash + 1 : name;
    if (!slash)
        return complaint;
    char group[64];
    snprintf(group, sizeof group, "%.*s", (int)(slash - name), name);
    json_t *home = json_object_get(complaint, group);
    if (!home) {
        home = json_object();
        json_object_set_new(complaint, group, home);
    }
    return json_is_object(home) ? home : NULL;
}

static bool answered(const json_t *complaint, const char *name)
{
    const char *slash = strchr(name, '/');
    if (!slash) {
        const json_t *value = json_object_get(complaint, name);
        return value && !json_is_null(value) && !(json_is_array(value) && !json_array_size(value));
    }
    char group[64];
    snprintf(group, sizeof group, "%.*s", (int)(slash - name), name);
    const json_t *home = json_object_get(complaint, group);
    return home && (!json_is_object(home) || answered(home, slash + 1));
}

static void fill_from(struct reading *reading, const json_t *complaint, json_t *filled,
                      json_t *taken)
{
    reading->match_count = 0;
    read_note(reading);
    for (int i = 0; i < reading->language->field_count; i++) {
        const struct field *field = reading->language->fields[i].field;
        /* several languages may add to a list, none to what the complaint itself answers */
        if (answered(complaint, field->name) ||
            (field->type != FIELD_WORDS && answered(filled, field->name)))
            continue;
        json_t *answer = answer_field(reading, i, taken);
        if (!answer)
            continue;
        const char *leaf;
        json_t *home = home_of(filled, field->name, &leaf);
        json_t *before = home ? json_object_get(home, leaf) : NULL;
        if (json_is_array(before) && json_is_array(answer)) {
            for (size_t k = 0; k < json_array_size(answer); k++)
                if (!holds(before, json_array_get(answer, k)))
                    json_array_append(before, json_array_get(answer, k));
        } else if (home) {
            json_object_set(home, leaf, answer);
        }
        json_decref(answer);
    }
}

json_t *lexicon_fill(const struct lexicon *lexicon, const json_t *complaint, json_t **ret_taken)
{
    static const char *const TEXTS[] = {"note", "reason"};
    json_t *filled = json_deep_copy(complaint), *taken = json_array();
    const char *symptom = json_string_value(json_object_get(complaint, "symptom"));
    struct reading *reading = xmalloc(sizeof *reading);
    struct note_word *words = xmalloc(LEXICON_TOKENS * sizeof *words);
    for (size_t t = 0; t < sizeof TEXTS / sizeof TEXTS[0]; t++) {
        const json_t *text = json_object_get(complaint, TEXTS[t]);
        if (!json_is_string(text) || !lexicon)
            continue;
        reading->note = json_string_value(text);
        reading->words = words;
        reading->count = lexicon_split(reading->note, words, LEXICON_TOKENS);
        reading->symptom = symptom ? symptom : "";
        for (int i = 0; i < lexicon->count; i++) {
            reading->language = &lexicon->languages[i];
            fill_from(reading, complaint, filled, taken);
        }
    }
    free(words);
    free(reading);
    *ret_taken = taken;
    return filled;
}

/* ---- loading ---- */

static int is_language(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return entry->d_name[0] != '.' && length > 5 &&
           strcmp(entry->d_name + length - 5, ".json") == 0;
}

int lexicon_load(const char *dir, struct lexicon **ret, struct error *err)
{
    struct dirent **entries = NULL;
    int count = scandir(dir, &entries, is_language, alphasort);
    if (count < 0 && errno != ENOENT) {
        error_at(err, dir, 0, 0);
        return error_set(err, ERROR_IO, "cannot read the folder: %s", strerror(errno));
    }
    struct lexicon *lexicon = xcalloc(1, sizeof *lexicon);
    lexicon->languages = xcalloc(count > 0 ? (size_t)count : 1, sizeof *lexicon->languages);
    int rc = 0;
    for (int i = 0; i < count; i++) {
        struct text_buffer path = {0};
        text_appendf(&path, "%s/%s", dir, entries[i]->d_name);
        if (!rc)
            rc = language_load(path.data, &lexicon->languages[lexicon->count], err);
        if (!rc)
            lexicon->count++;
        text_buffer_free(&path);
        free(entries[i]);
    }
    free(entries);
    if (rc) {
        lexicon_free(lexicon);
        return rc;
    }
    *ret = lexicon;
    return 0;
}

void lexicon_free(struct lexicon *lexicon)
{
    if (!lexicon)
        return;
    for (int i = 0; i < lexicon->count; i++)
        language_free(&lexicon->languages[i]);
    free(lexicon->languages);
    free(lexicon);
}
