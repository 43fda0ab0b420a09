/* One language's file, read and checked. The language is the document's context. */
#include "intake/lexicon_inside.h"
#include <stdlib.h>
#include <string.h>

static int find_set(const struct lexicon_language *language, const char *name)
{
    for (int i = 0; i < language->set_count; i++)
        if (strcmp(language->sets[i].name, name) == 0)
            return i;
    return -1;
}

/* With room for one more behind `count`: it grows at powers of two. */
static void *grown(void *items, int count, size_t size)
{
    bool full = (count & (count - 1)) == 0;
    return full ? xrealloc(items, (size_t)(count ? 2 * count : 1) * size) : items;
}

static bool add_lexeme(const struct lexicon_language *language, const char *token,
                       struct lexeme_list *list)
{
    struct lexeme lexeme = {.set = -1};
    size_t length = strlen(token);
    if (strcmp(token, "#") == 0) {
        lexeme.number = true;
    } else if (strcmp(token, "_") == 0) {
        lexeme.gap = true;
    } else if (strcmp(token, ",") == 0) {
        lexeme.comma = true;
    } else if (token[0] == '@') {
        lexeme.set = find_set(language, token + 1);
        if (lexeme.set < 0)
            return false;
    } else {
        lexeme.prefix = length > 1 && token[length - 1] == '*';
        length -= lexeme.prefix;
        if (!length || length >= sizeof lexeme.text || !lexicon_is_plain(token, length, '\0'))
            return false;
        memcpy(lexeme.text, token, length);
        lexeme.length = length;
    }
    list->items = grown(list->items, list->count, sizeof *list->items);
    list->items[list->count++] = lexeme;
    return true;
}

/* Words apart; accents, capitals and apostrophes may be written as usual. */
static bool read_words(const struct doc_place *place, struct lexeme_list *ret)
{
    char folded[200];
    const char *text = json_string_value(place->value);
    if (!text || !*text || strlen(text) >= sizeof folded) {
        doc_fault(place, "must be a text of at most 199 bytes");
        return false;
    }
    text_fold(text, folded, sizeof folded);
    char *to = folded;
    for (const char *from = folded; *from; from++)
        if (*from != '\'')
            *to++ = *from;
    *to = '\0';
    char *save = NULL;
    for (char *token = strtok_r(folded, " ", &save); token; token = strtok_r(NULL, " ", &save)) {
        if (add_lexeme(place->doc->context, token, ret))
            continue;
        doc_fault(place,
                  "'%s' is not a word: letters and digits, 'word*', '#', '_', ',' or '@set' with a "
                  "known set",
                  token);
        return false;
    }
    return true;
}

static void read_word(const struct doc_place *place, void *list)
{
    struct lexeme_list *words = list;
    int before = words->count;
    if (read_words(place, words) &&
        (words->count != before + 1 || words->items[before].number || words->items[before].gap ||
         words->items[before].comma || words->items[before].set >= 0))
        doc_fault(place, "must be one word");
}

static void read_set(const struct doc_place *place, void *into)
{
    static const struct doc_row WORDS = {.kind = DOC_LIST, .each = read_word};
    struct lexicon_language *language = into;
    language->sets = grown(language->sets, language->set_count, sizeof *language->sets);
    struct lexicon_set *set = &language->sets[language->set_count];
    *set = (struct lexicon_set){.name = place->name};
    doc_value(place, &WORDS, &set->words);
    language->set_count++;
}

/* What a member of "words" stands for: a word of the field, "yes"/"no", "3", "#" or "7#", or what
 * lexicon_says lists. */
static bool read_meaning(const struct field *field, const char *key, struct lexicon_phrase *phrase)
{
    static const struct {
        const char *key;
        enum field_type type;
        enum lexicon_says says;
    } OTHERS[] = {{"day", FIELD_PAST, LEXICON_DAY},     {"other", FIELD_PAST, LEXICON_OTHER},
                  {"since", FIELD_WHOLE, LEXICON_DAY},  {"code", FIELD_TEXT, LEXICON_CODE},
                  {"other", FIELD_TEXT, LEXICON_OTHER}, {"?", FIELD_WORD, LEXICON_OPEN},
                  {"?", FIELD_WHOLE, LEXICON_OPEN}};
    for (size_t i = 0; i < sizeof OTHERS / sizeof OTHERS[0]; i++) {
        if (field->type == OTHERS[i].type && strcmp(key, OTHERS[i].key) == 0) {
            phrase->says = OTHERS[i].says;
            return true;
        }
    }
    switch (field->type) {
    case FIELD_WORD:
    case FIELD_WORDS:
        phrase->word = key;
        return fields_word(field->words, key);
    case FIELD_BOOL:
        phrase->yes = strcmp(key, "yes") == 0;
        return phrase->yes || strcmp(key, "no") == 0;
    case FIELD_WHOLE: {
        char *end;
        long number = strtol(key, &end, 10);
        phrase->again = strcmp(key, "again") == 0;
        if (phrase->again)
            phrase->times = 1;
        else if (strcmp(end, "#") == 0)
            phrase->times = end == key ? 1 : number;
        else
            phrase->plus = number;
        return (end != key || phrase->times) && (!*end || phrase->times) && number >= 0;
    }
    default:
        return false;
    }
}

static bool is_between(const struct lexeme *lexeme)
{
    return lexeme->gap || lexeme->comma;
}

static void read_phrase(const struct doc_place *place, void *meaning)
{
    struct lexicon_language *language = place->doc->context;
    struct lexicon_phrase phrase = *(const struct lexicon_phrase *)meaning;
    bool good = read_words(place, &phrase.words);
    if (good && !phrase.words.count)
        doc_fault(place, "a phrase needs a word");
    else if (good && phrase.words.count == 1 && phrase.words.items[0].number)
        doc_fault(place, "a number alone says nothing");
    else if (good && (is_between(&phrase.words.items[0]) ||
                      is_between(&phrase.words.items[phrase.words.count - 1])))
        doc_fault(place, "'_' and ',' stand between words");
    /* what takes an answer back or sets it right is too much for a slip to do */
    for (int i = 0; i < phrase.words.count; i++)
        phrase.words.items[i].exact = phrase.says >= LEXICON_HEDGE || phrase.again;
    language->phrases = grown(language->phrases, language->phrase_count, sizeof phrase);
    language->phrases[language->phrase_count++] = phrase;
}

static const struct doc_row PHRASES = {.kind = DOC_LIST, .each = read_phrase};

static void read_answer(const struct doc_place *place, void *into)
{
    const struct lexicon_language *language = place->doc->context;
    const struct lexicon_field *entry = into;
    struct lexicon_phrase meaning = {.field = language->field_count};
    if (!entry->field)
        return;
    if (read_meaning(entry->field, place->name, &meaning))
        doc_value(place, &PHRASES, &meaning);
    else
        doc_fault(place, "not an answer to this field");
}

static void read_name(const struct doc_place *place, void *ret)
{
    const char *name = json_string_value(place->value);
    const struct field *field = name ? fields_find(name) : NULL;
    bool good = field && (field->words || field->type == FIELD_BOOL || field->type == FIELD_WHOLE ||
                          field->type == FIELD_PAST || strcmp(name, "lot_text") == 0);
    if (!good)
        doc_fault(place,
                  "must name a chosen answer, a day gone by, or the lot code of a complaint");
    else
        *(const struct field **)ret = field;
}

static void read_symptom(const struct doc_place *place, void *symptoms)
{
    unsigned symptom = lexicon_symptom(json_string_value(place->value));
    if (symptom)
        *(unsigned *)symptoms |= symptom;
    else
        doc_fault(place, "no such symptom (mold, off-odor, staling or other)");
}

static void read_beside(const struct doc_place *place, void *beside)
{
    const char *name = json_string_value(place->value);
    int set = name ? find_set(place->doc->context, name) : -1;
    if (set < 0)
        doc_fault(place, "no such set");
    else
        *(uint64_t *)beside |= UINT64_C(1) << set;
}

static void read_field(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        {"field", DOC_OTHER, .at = offsetof(struct lexicon_field, field), .each = read_name,
         .required = true},
        {"instead_of", DOC_OTHER, .at = offsetof(struct lexicon_field, instead_of),
         .each = read_name},
        {"symptoms", DOC_LIST, DOC_AT(struct lexicon_field, symptoms), .each = read_symptom},
        {"beside", DOC_LIST, DOC_AT(struct lexicon_field, beside), .each = read_beside},
        {"words", DOC_MAP, .each = read_answer, .required = true},
        {0}};
    struct lexicon_language *language = into;
    struct lexicon_field entry = {0};
    doc_read(place, ROWS, &entry);
    if (!json_object_get(place->value, "symptoms"))
        entry.symptoms = ~0u;
    language->fields = grown(language->fields, language->field_count, sizeof *language->fields);
    language->fields[language->field_count++] = entry;
}

static void read_ignored(const struct doc_place *place, void *into)
{
    struct lexicon_phrase nothing = {.field = -1};
    (void)into;
    read_phrase(place, &nothing);
}

static void read_aside(const struct doc_place *place, void *into)
{
    struct lexicon_phrase aside = {.field = -1, .says = LEXICON_ASIDE};
    (void)into;
    read_phrase(place, &aside);
}

static void read_apart(const struct doc_place *place, void *into)
{
    struct lexicon_phrase apart = {.field = -1, .says = LEXICON_APART};
    (void)into;
    read_phrase(place, &apart);
}

static void read_idle(const struct doc_place *place, void *into)
{
    struct lexicon_phrase idle = {.field = -1, .says = LEXICON_IDLE};
    (void)into;
    read_phrase(place, &idle);
}

static void read_hedge(const struct doc_place *place, void *into)
{
    struct lexicon_phrase hedge = {.field = -1, .says = LEXICON_HEDGE};
    (void)into;
    read_phrase(place, &hedge);
}

/* Notes are read without accents, so that a name with one would never be found. */
static void check_name(const struct doc_place *place)
{
    char folded[200];
    text_fold(place->name, folded, sizeof folded);
    if (strcmp(folded, place->name) != 0)
        doc_fault(place, "must be written in small letters and without accents: %s", folded);
}

static void read_number(const struct doc_place *place, void *into)
{
    int number;
    static const struct doc_row WHOLE = {.kind = DOC_WHOLE, .size = sizeof number};
    (void)into;
    check_name(place);
    doc_value(place, &WHOLE, &number);
}

static void read_day(const struct doc_place *place, void *into)
{
    (void)into;
    check_name(place);
    if (!json_string_length(place->value))
        doc_fault(place, "must be a word for days in English, as \"yesterday\" or \"ago\"");
}

static int by_text(const void *left, const void *right)
{
    const struct lexeme *a = left, *b = right;
    return a->prefix != b->prefix ? (a->prefix ? 1 : -1) : strcmp(a->text, b->text);
}

/* As lexicon_measure() searches it. */
static void sort_list(struct lexeme_list *list)
{
    if (list->count)
        qsort(list->items, (size_t)list->count, sizeof *list->items, by_text);
    while (list->whole < list->count && !list->items[list->whole].prefix)
        list->whole++;
}

static void sort_lists(struct lexicon_language *language)
{
    for (int i = 0; i < LEXICON_LISTS; i++)
        sort_list(&language->lists[i]);
    for (int i = 0; i < language->set_count; i++)
        sort_list(&language->sets[i].words);
}

static void add_entries(struct lexicon_language *language, const struct lexeme_list *list,
                        unsigned lists, uint64_t sets)
{
    for (int i = 0; i < list->whole; i++)
        language->entries[language->entry_count++] =
            (struct lexicon_entry){list->items[i].text, lists, sets};
}

static int by_entry(const void *left, const void *right)
{
    const struct lexicon_entry *a = left, *b = right;
    return strcmp(a->text, b->text);
}

/* A word of several is one entry. */
static void merge_entries(struct lexicon_language *language)
{
    struct lexicon_entry *entries = language->entries;
    int kept = 0;
    qsort(entries, (size_t)language->entry_count, sizeof *entries, by_entry);
    for (int i = 0; i < language->entry_count; i++) {
        if (kept && by_entry(&entries[kept - 1], &entries[i]) == 0) {
            entries[kept - 1].lists |= entries[i].lists;
            entries[kept - 1].sets |= entries[i].sets;
        } else {
            entries[kept++] = entries[i];
        }
    }
    language->entry_count = kept;
}

static void index_entries(struct lexicon_language *language)
{
    size_t count = 1;
    for (int k = 0; k < LEXICON_LISTS; k++)
        count += (size_t)language->lists[k].whole;
    for (int k = 0; k < language->set_count; k++)
        count += (size_t)language->sets[k].words.whole;
    language->entries = xcalloc(count, sizeof *language->entries);
    for (int k = 0; k < LEXICON_LISTS; k++)
        add_entries(language, &language->lists[k], 1u << k, 0);
    for (int k = 0; k < language->set_count; k++)
        add_entries(language, &language->sets[k].words, 0, UINT64_C(1) << k);
    merge_entries(language);
}

static int start_of(const struct lexicon_phrase *phrase)
{
    const struct lexeme *first = &phrase->words.items[0];
    if (first->number)
        return LEXICON_NUMBERS;
    return first->set >= 0 ? LEXICON_NUMBERS + 1 + first->set : lexicon_start(first->text);
}

/* One first word's phrases stand together, so that it is compared once. */
static int by_first(const void *left, const void *right, void *language)
{
    const struct lexicon_phrase *phrases = ((const struct lexicon_language *)language)->phrases;
    const int *a = left, *b = right;
    int order = by_text(&phrases[*a].words.items[0], &phrases[*b].words.items[0]);
    return order ? order : *a - *b;
}

static void count_alike(const struct lexicon_language *language, const int *start, int count)
{
    struct lexicon_phrase *after = NULL;
    for (int i = count - 1; i >= 0; i--) {
        struct lexicon_phrase *phrase = &language->phrases[start[i]];
        const struct lexeme *word = &phrase->words.items[0];
        const struct lexeme *next = after ? &after->words.items[0] : NULL;
        bool second = next && word->prefix == next->prefix && word->text[1] == next->text[1];
        phrase->alike = next && by_text(word, next) == 0 ? after->alike + 1 : 1;
        phrase->second = second ? after->second + 1 : 1;
        after = phrase;
    }
}

/* The phrases of each start, in the order of the file, then as they are searched. */
static void index_starts(struct lexicon_language *language)
{
    int counts[LEXICON_STARTS] = {0};
    for (int i = 0; i < language->phrase_count; i++)
        counts[start_of(&language->phrases[i])]++;
    for (int k = 0; k < LEXICON_STARTS; k++) {
        language->starts[k] = xcalloc((size_t)counts[k] + 1, sizeof(int));
        language->starts[k][counts[k]] = -1;
    }
    for (int i = language->phrase_count - 1; i >= 0; i--) {
        int k = start_of(&language->phrases[i]);
        language->starts[k][--counts[k]] = i;
    }
    for (int k = 0; k < LEXICON_STARTS; k++) {
        int count = 0;
        while (language->starts[k][count] >= 0)
            count++;
        qsort_r(language->starts[k], (size_t)count, sizeof(int), by_first, language);
        count_alike(language, language->starts[k], count);
    }
}

#define WORDS_ROW(name, list)                                                                      \
    {                                                                                              \
        name, DOC_LIST, DOC_AT(struct lexicon_language, lists[list]), .each = read_word            \
    }

void lexicon_language_read(struct doc *doc, struct lexicon_language *ret)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "language"},
        {.name = "note"},
        {"numbers", DOC_MAP, .each = read_number},
        {"days", DOC_MAP, .each = read_day},
        WORDS_ROW("negation", LEXICON_NEGATION),
        WORDS_ROW("negated_by", LEXICON_NEGATED_BY),
        WORDS_ROW("stops", LEXICON_STOPS),
        WORDS_ROW("joins", LEXICON_JOINS),
        WORDS_ROW("subjects", LEXICON_SUBJECTS),
        WORDS_ROW("carriers", LEXICON_CARRIERS),
        WORDS_ROW("filler", LEXICON_FILLER),
        WORDS_ROW("plain", LEXICON_PLAIN),
        WORDS_ROW("supposed", LEXICON_SUPPOSED),
        WORDS_ROW("corrects", LEXICON_CORRECTS),
        WORDS_ROW("contests", LEXICON_CONTESTS),
        WORDS_ROW("asks", LEXICON_ASKS),
        WORDS_ROW("wonders", LEXICON_WONDERS),
        WORDS_ROW("agrees", LEXICON_AGREES),
        WORDS_ROW("which", LEXICON_WHICH),
        WORDS_ROW("product", LEXICON_PRODUCT),
        {"sets", DOC_MAP, .high = LEXICON_SETS, .each = read_set},
        {"fields", DOC_LIST, .high = LEXICON_FIELDS, .each = read_field, .required = true},
        {"ignore", DOC_LIST, .each = read_ignored},
        {"aside", DOC_LIST, .each = read_aside},
        {"apart", DOC_LIST, .each = read_apart},
        {"idle", DOC_LIST, .each = read_idle},
        {"hedges", DOC_LIST, .each = read_hedge},
        {0}};
    struct doc_place top = doc_top(doc);
    *ret = (struct lexicon_language){.document = json_incref(doc->root),
                                     .numbers = json_object_get(doc->root, "numbers"),
                                     .days = json_object_get(doc->root, "days")};
    doc->context = ret;
    if (doc_read(&top, ROWS, ret)) {
        sort_lists(ret);
        index_entries(ret);
        index_starts(ret);
    }
}

void lexicon_language_free(struct lexicon_language *language)
{
    for (int i = 0; i < LEXICON_LISTS; i++)
        free(language->lists[i].items);
    for (int i = 0; i < language->set_count; i++)
        free(language->sets[i].words.items);
    for (int i = 0; i < language->phrase_count; i++)
        free(language->phrases[i].words.items);
    for (int k = 0; k < LEXICON_STARTS; k++)
        free(language->starts[k]);
    free(language->entries);
    free(language->sets);
    free(language->fields);
    free(language->phrases);
    json_decref(language->document);
    *language = (struct lexicon_language){0};
}
