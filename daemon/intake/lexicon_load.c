/* One language's file, read and checked. */
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/lexicon_inside.h"
#include "intake/rule_folder.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct loading {
    const char *path;
    struct language *language;
    struct error *err;
};

static int fail(struct loading *loading, const char *pointer, const char *value, const char *why)
{
    return rule_folder_fail(loading->path, pointer, value, why, loading->err);
}

static int find_set(const struct language *language, const char *name)
{
    for (int i = 0; i < language->set_count; i++)
        if (strcmp(language->sets[i].name, name) == 0)
            return i;
    return -1;
}

static bool add_lexeme(const struct language *language, const char *token, struct lexeme_list *list)
{
    struct lexeme lexeme = {.set = -1};
    size_t length = strlen(token);
    if (strcmp(token, "#") == 0) {
        lexeme.number = true;
    } else if (token[0] == '@') {
        lexeme.set = find_set(language, token + 1);
        if (lexeme.set < 0)
            return false;
    } else {
        lexeme.prefix = length > 1 && token[length - 1] == '*';
        length -= lexeme.prefix;
        if (!length || length >= sizeof lexeme.text ||
            strspn(token, "abcdefghijklmnopqrstuvwxyz0123456789") < length)
            return false;
        memcpy(lexeme.text, token, length);
        lexeme.length = length;
    }
    list->items = xrealloc(list->items, (size_t)(list->count + 1) * sizeof *list->items);
    list->items[list->count++] = lexeme;
    return true;
}

/* Words apart; accents, capitals and apostrophes may be written as usual. */
static int read_words(struct loading *loading, const char *text, const char *pointer,
                      struct lexeme_list *ret)
{
    char folded[200];
    if (!text || !*text || strlen(text) >= sizeof folded)
        return fail(loading, pointer, text, "must be a text of at most 199 bytes");
    text_fold(text, folded, sizeof folded);
    char *to = folded;
    for (const char *from = folded; *from; from++)
        if (*from != '\'')
            *to++ = *from;
    *to = '\0';
    char *save = NULL;
    for (char *token = strtok_r(folded, " ", &save); token; token = strtok_r(NULL, " ", &save))
        if (!add_lexeme(loading->language, token, ret))
            return fail(loading, pointer, token,
                        "not a word: letters and digits, 'word*', '#' or '@set' with a known set");
    return 0;
}

/* A list of single words under `name`. */
static int read_list(struct loading *loading, const json_t *words, const char *pointer,
                     struct lexeme_list *ret)
{
    char where[128];
    if (words && !json_is_array(words))
        return fail(loading, pointer, NULL, "must be a list of words");
    for (size_t i = 0; i < json_array_size(words); i++) {
        const char *word = json_string_value(json_array_get(words, i));
        int before = ret->count;
        snprintf(where, sizeof where, "%s/%zu", pointer, i);
        int rc = read_words(loading, word, where, ret);
        if (rc)
            return rc;
        if (ret->count != before + 1 || ret->items[before].number || ret->items[before].set >= 0)
            return fail(loading, where, word, "must be one word");
    }
    return 0;
}

static int read_sets(struct loading *loading)
{
    struct language *language = loading->language;
    json_t *sets = json_object_get(language->document, "sets"), *words;
    const char *name;
    char where[128];
    if (sets && !json_is_object(sets))
        return fail(loading, "/sets", NULL, "must be an object of lists");
    if (json_object_size(sets) > LEXICON_SETS)
        return fail(loading, "/sets", NULL, "too many sets");
    language->sets = xcalloc(json_object_size(sets) + 1, sizeof *language->sets);
    json_object_foreach(sets, name, words)
    {
        struct lexicon_set *set = &language->sets[language->set_count++];
        set->name = name;
        snprintf(where, sizeof where, "/sets/%.60s", name);
        int rc = read_list(loading, words, where, &set->words);
        if (rc)
            return rc;
    }
    return 0;
}

/* What a member of "words" stands for: a word of the field, "yes"/"no", "3", "#" or "7#". */
static bool read_meaning(const struct field *field, const char *key, struct phrase *phrase)
{
    switch (field->type) {
    case FIELD_WORD:
    case FIELD_WORDS:
        phrase->word = key;
        return words_has(field->words, key);
    case FIELD_BOOL:
        phrase->yes = strcmp(key, "yes") == 0;
        return phrase->yes || strcmp(key, "no") == 0;
    case FIELD_WHOLE: {
        char *end;
        long number = strtol(key, &end, 10);
        if (strcmp(end, "#") == 0)
            phrase->times = end == key ? 1 : number;
        else
            phrase->plus = number;
        return (end != key || phrase->times) && (!*end || phrase->times) && number >= 0;
    }
    default:
        return false;
    }
}

static int read_phrases(struct loading *loading, const json_t *list, const char *pointer,
                        const struct phrase *meaning)
{
    struct language *language = loading->language;
    char where[256];
    if (!json_is_array(list))
        return fail(loading, pointer, NULL, "must be a list of phrases");
    for (size_t i = 0; i < json_array_size(list); i++) {
        struct phrase phrase = *meaning;
        snprintf(where, sizeof where, "%.200s/%zu", pointer, i);
        int rc =
            read_words(loading, json_string_value(json_array_get(list, i)), where, &phrase.words);
        if (!rc && phrase.words.count && phrase.words.items[0].number && phrase.words.count == 1)
            rc = fail(loading, where, "#", "a number alone says nothing");
        if (!rc && !phrase.words.count)
            rc = fail(loading, where, NULL, "a phrase needs a word");
        if (rc) {
            free(phrase.words.items);
            return rc;
        }
        language->phrases =
            xrealloc(language->phrases, (size_t)(language->phrase_count + 1) * sizeof phrase);
        language->phrases[language->phrase_count++] = phrase;
    }
    return 0;
}

static int read_symptoms(struct loading *loading, const json_t *symptoms, const char *pointer,
                         unsigned *ret)
{
    char where[256];
    *ret = symptoms ? 0 : ~0u;
    if (symptoms && !json_is_array(symptoms))
        return fail(loading, pointer, NULL, "must be a list of symptoms");
    for (size_t i = 0; i < json_array_size(symptoms); i++) {
        const char *name = json_string_value(json_array_get(symptoms, i));
        snprintf(where, sizeof where, "%.200s/%zu", pointer, i);
        if (!lexicon_symptom(name))
            return fail(loading, where, name, "no such symptom");
        *ret |= lexicon_symptom(name);
    }
    return 0;
}

static int read_field(struct loading *loading, json_t *item, size_t index)
{
    struct language *language = loading->language;
    json_t *words = json_object_get(item, "words"), *list;
    const char *name = json_string_value(json_object_get(item, "field")), *key;
    char where[160], deeper[240];
    snprintf(where, sizeof where, "/fields/%zu", index);
    const struct field *field = name ? words_field(name) : NULL;
    if (!field || field->type == FIELD_TEXT || field->type == FIELD_DATE ||
        field->type == FIELD_TIME)
        return fail(loading, where, name, "'field' must name a chosen answer of a complaint");
    struct lexicon_field *entry = &language->fields[language->field_count];
    entry->field = field;
    snprintf(deeper, sizeof deeper, "%s/symptoms", where);
    int rc = read_symptoms(loading, json_object_get(item, "symptoms"), deeper, &entry->symptoms);
    if (!rc && !json_is_object(words))
        rc = fail(loading, where, NULL, "'words' must be an object: answer, list of phrases");
    json_object_foreach(words, key, list)
    {
        struct phrase meaning = {.field = language->field_count};
        snprintf(deeper, sizeof deeper, "%s/words/%.60s", where, key);
        if (!rc && !read_meaning(field, key, &meaning))
            rc = fail(loading, deeper, key, "not an answer to this field");
        if (!rc)
            rc = read_phrases(loading, list, deeper, &meaning);
    }
    language->field_count++;
    return rc;
}

static int read_fields(struct loading *loading)
{
    struct language *language = loading->language;
    const json_t *fields = json_object_get(language->document, "fields");
    int rc = 0;
    if (!json_is_array(fields))
        return fail(loading, "/fields", NULL, "must be a list");
    if (json_array_size(fields) > LEXICON_FIELDS)
        return fail(loading, "/fields", NULL, "too many fields");
    language->fields = xcalloc(json_array_size(fields) + 1, sizeof *language->fields);
    for (size_t i = 0; !rc && i < json_array_size(fields); i++)
        rc = read_field(loading, json_array_get(fields, i), i);
    json_t *ignore = json_object_get(language->document, "ignore");
    struct phrase nothing = {.field = -1};
    if (!rc && ignore)
        rc = read_phrases(loading, ignore, "/ignore", &nothing);
    return rc;
}

static int read_numbers(struct loading *loading)
{
    json_t *numbers = json_object_get(loading->language->document, "numbers"), *number;
    const char *name;
    char where[128];
    if (numbers && !json_is_object(numbers))
        return fail(loading, "/numbers", NULL, "must be an object: word, number");
    json_object_foreach(numbers, name, number) if (!json_is_integer(number))
    {
        snprintf(where, sizeof where, "/numbers/%.60s", name);
        return fail(loading, where, name, "must be a whole number");
    }
    loading->language->numbers = numbers;
    return 0;
}

static int read_members(struct loading *loading)
{
    static const char *const known[] = {
        "$schema",  "language", "note",  "negation", "negated_by", "stops",  "joins",  "subjects",
        "carriers", "filler",   "plain", "numbers",  "sets",       "ignore", "fields", NULL};
    struct language *language = loading->language;
    json_t *document = language->document, *value;
    struct {
        const char *pointer;
        struct lexeme_list *list;
    } lists[] = {{"/negation", &language->negation}, {"/negated_by", &language->negated_by},
                 {"/stops", &language->stops},       {"/joins", &language->joins},
                 {"/subjects", &language->subjects}, {"/carriers", &language->carriers},
                 {"/filler", &language->filler},     {"/plain", &language->plain}};
    const char *name;
    char where[128];
    if (!json_is_object(document))
        return fail(loading, "", NULL, "must be an object");
    json_object_foreach(document, name, value)
    {
        snprintf(where, sizeof where, "/%.60s", name);
        if (!words_has(known, name))
            return fail(loading, where, name, "no such member");
    }
    int rc = read_numbers(loading);
    for (size_t i = 0; !rc && i < sizeof lists / sizeof lists[0]; i++)
        rc = read_list(loading, json_object_get(document, lists[i].pointer + 1), lists[i].pointer,
                       lists[i].list);
    if (!rc)
        rc = read_sets(loading);
    return rc ? rc : read_fields(loading);
}

static int start_of(const struct phrase *phrase)
{
    const struct lexeme *first = &phrase->words.items[0];
    if (first->number)
        return LEXICON_NUMBERS;
    return first->set >= 0 ? LEXICON_NUMBERS + 1 + first->set : lexicon_start(first->text);
}

static void index_starts(struct language *language)
{
    for (int k = 0; k < LEXICON_STARTS; k++) {
        int count = 0;
        language->starts[k] = xcalloc((size_t)language->phrase_count + 1, sizeof(int));
        for (int i = 0; i < language->phrase_count; i++)
            if (start_of(&language->phrases[i]) == k)
                language->starts[k][count++] = i;
        language->starts[k] = xrealloc(language->starts[k], (size_t)(count + 1) * sizeof(int));
        language->starts[k][count] = -1;
    }
}

int language_load(const char *path, struct language *ret, struct error *err)
{
    struct error local = {0};
    struct loading loading = {path, ret, err ? err : &local};
    *ret = (struct language){0};
    int rc = jsonx_load(path, &ret->document, loading.err);
    if (!rc)
        rc = read_members(&loading);
    if (rc)
        language_free(ret);
    else
        index_starts(ret);
    return rc;
}

void language_free(struct language *language)
{
    struct lexeme_list *lists[] = {&language->negation, &language->negated_by, &language->stops,
                                   &language->joins,    &language->filler,     &language->plain,
                                   &language->subjects, &language->carriers};
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
        free(lists[i]->items);
    for (int i = 0; i < language->set_count; i++)
        free(language->sets[i].words.items);
    for (int i = 0; i < language->phrase_count; i++)
        free(language->phrases[i].words.items);
    for (int k = 0; k < LEXICON_STARTS; k++)
        free(language->starts[k]);
    free(language->sets);
    free(language->fields);
    free(language->phrases);
    json_decref(language->document);
    *language = (struct language){0};
}
