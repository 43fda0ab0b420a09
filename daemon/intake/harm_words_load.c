/* One language's file of harm, read and checked. */
#include "base/text.h"
#include "intake/harm_words_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATTERN_BYTES = 2000, BETWEEN_MOST = 12 };

const char *const HARM_CONTEXTS[CONTEXT_COUNT + 1] = {
    "stop",    "join",     "subject",  "carrier",   "done_to", "tells",   "thing",
    "factive", "any",      "idle",     "wake",      "deny",    "suppose", "certain",
    "idiom",   "elsewise", "no_after", "yes_after", "yet",     "named",   NULL};

struct loading {
    struct harm_language *language;
    size_t word_capacity, item_capacity, option_capacity, pattern_capacity;
};

/* Room for one more of `size` bytes. */
static void *grown(void *array, int count, size_t *capacity, size_t size)
{
    if ((size_t)count < *capacity)
        return array;
    *capacity = *capacity ? 2 * *capacity : 256;
    return xrealloc(array, *capacity * size);
}

/* ---- words ---- */

uint32_t harm_words_hash_next(uint32_t hash, char c)
{
    return (hash ^ (unsigned char)c) * 16777619u; /* FNV-1a */
}

static uint32_t hash_of(const char *text, size_t length)
{
    uint32_t hash = HARM_HASH;
    for (size_t i = 0; i < length; i++)
        hash = harm_words_hash_next(hash, text[i]);
    return hash;
}

/* Ends are looked for from the last letter on. */
static uint32_t word_hash(const char *text, size_t length, enum harm_form form)
{
    uint32_t hash = HARM_HASH;
    if (form != HARM_FORM_ENDS)
        return hash_of(text, length);
    while (length)
        hash = harm_words_hash_next(hash, text[--length]);
    return hash;
}

uint64_t harm_words_letters(const char *text, size_t length)
{
    uint64_t letters = 0;
    for (size_t i = 0; i < length; i++)
        letters |= UINT64_C(1) << (text[i] >= 'a' && text[i] <= 'z'   ? text[i] - 'a'
                                   : text[i] >= '0' && text[i] <= '9' ? 26 + text[i] - '0'
                                                                      : 36);
    return letters;
}

int harm_words_language_find(const struct harm_language *language, const char *text, size_t length,
                             uint32_t hash, enum harm_form form)
{
    if (!language->table_size)
        return -1;
    for (size_t at = hash % language->table_size; language->table[at] >= 0;
         at = (at + 1) % language->table_size) {
        const struct harm_word *word = &language->words[language->table[at]];
        if (word->hash == hash && word->form == form && word->length == length &&
            memcmp(word->text, text, length) == 0)
            return language->table[at];
    }
    return -1;
}

static void put_in_table(struct harm_language *language, int index)
{
    size_t at = language->words[index].hash % language->table_size;
    while (language->table[at] >= 0)
        at = (at + 1) % language->table_size;
    language->table[at] = index;
}

/* At least twice as large as it will be full with one more. */
static void grow_table(struct harm_language *language)
{
    if ((size_t)(language->word_count + 1) * 2 < language->table_size)
        return;
    language->table_size = language->table_size ? 2 * language->table_size : 1024;
    language->table = xrealloc(language->table, language->table_size * sizeof *language->table);
    memset(language->table, 0xff, language->table_size * sizeof *language->table);
    for (int i = 0; i < language->word_count; i++)
        put_in_table(language, i);
}

/* The token as it is known by: without marks of ñ and umlauts, unless it would be another word
 * then. */
static size_t spelled(const struct harm_language *language, const char *token, size_t length,
                      char out[LEXICON_WORD])
{
    size_t plain = 0;
    for (size_t i = 0; i < length && plain + 1 < LEXICON_WORD; i++)
        if (token[i] != LEXICON_MARK)
            out[plain++] = token[i];
    out[plain] = '\0';
    int known =
        harm_words_language_find(language, out, plain, hash_of(out, plain), HARM_FORM_WHOLE);
    if (plain == length || length >= LEXICON_WORD || known < 0 || language->words[known].marked)
        return plain;
    memcpy(out, token, length);
    out[length] = '\0';
    return length;
}

/* Takes "*" and "~" off the token. */
static size_t read_form(const char **token, size_t length, struct harm_word *ret)
{
    if (length > 1 && **token == '*') {
        ret->form = HARM_FORM_ENDS;
        ++*token;
        return length - 1;
    }
    if (length > 1 && (*token)[length - 1] == '*')
        ret->form = HARM_FORM_BEGINS;
    ret->slips = length > 1 && (*token)[length - 1] == '~';
    return length - (ret->form == HARM_FORM_BEGINS || ret->slips);
}

/* The word's index, -1 if it is none. */
static int add_word(struct loading *loading, const char *token, size_t length)
{
    struct harm_language *language = loading->language;
    struct harm_word word = {0};
    length = read_form(&token, length, &word);
    if (!length || length >= sizeof word.text || !lexicon_is_plain(token, length, LEXICON_MARK))
        return -1;
    word.length = spelled(language, token, length, word.text);
    word.marked = word.length < length;
    length = word.length;
    if (!length)
        return -1;
    word.letters = harm_words_letters(word.text, length);
    word.hash = word_hash(word.text, length, word.form);
    int known = harm_words_language_find(language, word.text, length, word.hash, word.form);
    if (known >= 0) {
        language->words[known].slips |= word.slips;
        return known;
    }
    language->has_ends = language->has_ends || word.form == HARM_FORM_ENDS;
    grow_table(language);
    language->words = grown(language->words, language->word_count, &loading->word_capacity,
                            sizeof *language->words);
    language->words[language->word_count] = word;
    put_in_table(language, language->word_count);
    return language->word_count++;
}

/* ---- patterns ---- */

static int find_set(const struct harm_language *language, const char *name, size_t length)
{
    for (int i = 0; i < language->set_count; i++)
        if (strlen(language->sets[i].name) == length &&
            memcmp(language->sets[i].name, name, length) == 0)
            return i;
    return -1;
}

/* Something that an item can differ from: a set, the same or another (kinds of bread, say, and
 * kinds of bread as bags call them). */
static bool has_set(const struct harm_language *language, const struct harm_pattern *pattern)
{
    const struct harm_item *items = language->items + pattern->first;
    for (int i = 0; i < pattern->count; i++)
        if (language->options[items[i].first] < 0)
            return true;
    return false;
}

/* "@b!": another than one before. */
static bool add_another(const struct harm_language *language, const struct harm_pattern *pattern,
                        struct harm_item *item)
{
    item->another = true;
    return item->count == 1 && language->options[item->first] < 0 && has_set(language, pattern);
}

/* "a|@b|c" as options of the item; false if one is nothing known. */
static bool add_options(struct loading *loading, const char *token, struct harm_item *item)
{
    struct harm_language *language = loading->language;
    item->first = language->option_count;
    for (const char *at = token;; at++) {
        size_t length = strcspn(at, "|!");
        int set = *at == '@' ? find_set(language, at + 1, length - 1) : -1;
        int option = *at == '@' ? ~set : add_word(loading, at, length);
        if (*at == '@' ? set < 0 : option < 0)
            return false;
        language->options = grown(language->options, language->option_count,
                                  &loading->option_capacity, sizeof *language->options);
        language->options[language->option_count++] = option;
        item->count++;
        at += length;
        if (!*at || strcmp(at, "!") == 0)
            return true;
        if (*at == '!')
            return false;
    }
}

/* "_4": 4; -1 if it is no such thing. */
static int between_of(const char *token)
{
    if (token[0] != '_' || !token[1] || strspn(token + 1, "0123456789") != strlen(token + 1) ||
        strlen(token) > 3)
        return -1;
    int between = atoi(token + 1);
    return between >= 1 && between <= BETWEEN_MOST ? between : -1;
}

static const char *add_items(struct loading *loading, char *text, struct harm_pattern *pattern)
{
    struct harm_language *language = loading->language;
    struct harm_item next = {0};
    char *save = NULL;
    pattern->first = language->item_count;
    for (char *token = strtok_r(text, " ", &save); token; token = strtok_r(NULL, " ", &save)) {
        if (strcmp(token, "/") == 0 && pattern->count && !pattern->kept) {
            pattern->kept = pattern->count;
        } else if (strcmp(token, "^") == 0) {
            next.begins = true;
        } else if (strcmp(token, "$") == 0 && pattern->count) {
            language->items[language->item_count - 1].ends = true;
        } else if (between_of(token) > 0 && pattern->count) {
            next.between = between_of(token);
        } else if (pattern->count == HARM_ITEMS || !add_options(loading, token, &next) ||
                   (strchr(token, '!') && !add_another(language, pattern, &next))) {
            return token;
        } else {
            language->items = grown(language->items, language->item_count, &loading->item_capacity,
                                    sizeof *language->items);
            language->items[language->item_count++] = next;
            pattern->count++;
            next = (struct harm_item){0};
        }
    }
    if (!pattern->count || pattern->kept == pattern->count || next.between || next.begins)
        return "";
    pattern->kept = pattern->kept ? pattern->kept : pattern->count;
    return NULL;
}

static const char UMLAUT_LEAD = '\xC3'; /* with which each begins in UTF-8 */

/* The letter of ASCII that an umlaut is written with, and an e behind it; 0: it is none. */
static char umlaut_at(const char *s)
{
    static const char SECONDS[] = "\xA4\xB6\xBC\x84\x96\x9C";
    const char *second = *s == UMLAUT_LEAD && s[1] ? strchr(SECONDS, s[1]) : NULL;
    return second ? "aouaou"[second - SECONDS] : 0;
}

/* A word with umlauts is another with an e behind each, too: "übel|uebel". `out` has room for twice
 * as much as `text`. */
static void spell_umlauts(const char *text, char *out)
{
    if (!strchr(text, UMLAUT_LEAD)) { /* as most are */
        memcpy(out, text, strlen(text) + 1);
        return;
    }
    while (*text) {
        size_t length = strcspn(text, " |");
        bool umlauts = false;
        memcpy(out, text, length);
        out += length;
        for (size_t i = 0; i < length; i++)
            umlauts = umlauts || umlaut_at(text + i);
        if (umlauts)
            *out++ = '|';
        for (size_t i = 0; umlauts && i < length; i++) {
            char letter = umlaut_at(text + i);
            *out++ = letter ? letter : text[i];
            if (letter)
                *out++ = 'e';
            i += letter != 0;
        }
        text += length;
        if (*text)
            *out++ = *text++;
    }
    *out = '\0';
}

/* Accents, capitals and apostrophes may be written as usual. */
static void add_pattern(struct loading *loading, const struct doc_place *place)
{
    struct harm_language *language = loading->language;
    struct harm_pattern pattern = {0};
    char spelled[2 * PATTERN_BYTES], kept[2 * PATTERN_BYTES], folded[2 * PATTERN_BYTES];
    const char *text = json_string_value(place->value);
    if (!text || !*text || strlen(text) >= PATTERN_BYTES) {
        doc_fault(place, "must be a text of at most %d bytes", PATTERN_BYTES - 1);
        return;
    }
    spell_umlauts(text, spelled);
    lexicon_keep_marks(spelled, strlen(spelled), kept, sizeof kept);
    text_fold(kept, folded, sizeof folded);
    char *to = folded;
    for (const char *from = folded; *from; from++)
        if (*from != '\'')
            *to++ = *from;
    *to = '\0';
    const char *wrong = add_items(loading, folded, &pattern);
    if (wrong) {
        doc_fault(
            place,
            "'%.40s' is not part of a pattern: words, word*, *word, word~, @set (one that stands "
            "above), @set! (another than above), a|b, _4 between two, / before what only "
            "follows, ^ before and $ behind "
            "one; at most %d",
            *wrong ? wrong : text, HARM_ITEMS);
        return;
    }
    language->patterns = grown(language->patterns, language->pattern_count,
                               &loading->pattern_capacity, sizeof *language->patterns);
    language->patterns[language->pattern_count++] = pattern;
}

/* A set of the patterns at the place (missing: an empty one). Returns its index. */
static int add_set(const struct doc_place *place, const char *name)
{
    struct loading *loading = place->doc->context;
    struct harm_language *language = loading->language;
    int first = language->pattern_count;
    if (place->value && !json_is_array(place->value))
        doc_fault(place, "must be a list of patterns");
    if (language->set_count == HARM_SETS) {
        doc_fault(place, "more than %d sets", HARM_SETS);
        return 0;
    }
    for (size_t i = 0; i < json_array_size(place->value); i++) {
        struct doc_place pattern = doc_element(place, i);
        add_pattern(loading, &pattern);
    }
    language->sets[language->set_count] =
        (struct harm_set){xstrdup(name), first, language->pattern_count - first};
    return language->set_count++;
}

/* ---- the file ---- */

static bool is_among(const char *const *names, const char *name)
{
    for (; *names; names++)
        if (strcmp(*names, name) == 0)
            return true;
    return false;
}

static void read_set(const struct doc_place *place, void *part)
{
    const struct loading *loading = place->doc->context;
    (void)part;
    if (find_set(loading->language, place->name, strlen(place->name)) >= 0 ||
        is_among(HARM_CONTEXTS, place->name))
        doc_fault(place, "the name is taken");
    else
        add_set(place, place->name);
}

/* One set a name, in the order of the names. */
static void read_group(const struct doc_place *group, const char *const *names, int *ret_sets)
{
    const char *name;
    json_t *value;
    if (group->value && !json_is_object(group->value))
        doc_fault(group, "must be an object of lists of patterns");
    json_object_foreach((json_t *)group->value, name, value)
    {
        struct doc_place member = doc_member(group, name);
        if (!is_among(names, name))
            doc_fault(&member, "no such member");
    }
    for (int i = 0; names[i]; i++) {
        struct doc_place member = doc_member(group, names[i]);
        ret_sets[i] = add_set(&member, names[i]);
    }
}

static void read_words(const struct doc_place *top, struct harm_language *language)
{
    struct doc_place marks = doc_member(top, "marks"), filler = doc_member(top, "filler");
    language->marks = add_set(&marks, "marks");
    for (int i = 0; i < language->word_count; i++)
        language->words[i].mark = true;
    language->filler = add_set(&filler, "filler");
}

static void index_slips(struct harm_language *language)
{
    for (int k = 0; k < LEXICON_NUMBERS; k++) {
        int count = 0;
        language->by_letter[k] = xcalloc((size_t)language->word_count + 1, sizeof(int));
        for (int i = 0; i < language->word_count; i++)
            if (language->words[i].slips && lexicon_start(language->words[i].text) == k)
                language->by_letter[k][count++] = i;
        language->by_letter[k][count] = -1;
    }
}

static bool is_of_words(const struct harm_language *language, const struct harm_item *item)
{
    for (int i = item->first; i < item->first + item->count; i++)
        if (language->options[i] < 0)
            return false;
    return true;
}

/* The item that tells most of whether the pattern stands; NULL: none is of words alone. */
static const struct harm_item *key_of(const struct harm_language *language,
                                      const struct harm_pattern *pattern)
{
    const struct harm_item *key = NULL;
    for (int i = pattern->first; i < pattern->first + pattern->count; i++) {
        const struct harm_item *item = &language->items[i];
        if (is_of_words(language, item) && (!key || item->count < key->count))
            key = item;
    }
    return key;
}

/* Counted first, then filled from each word's end down. */
static void index_keys(struct harm_language *language)
{
    int *from = xcalloc((size_t)language->word_count + 1, sizeof *from);
    int *of = xcalloc((size_t)language->option_count + 1, sizeof *of);
    uint64_t *keyless = xcalloc((size_t)language->pattern_count / 64 + 1, sizeof *keyless);
    for (int fill = 0; fill < 2; fill++) {
        for (int p = 0; p < language->pattern_count; p++) {
            const struct harm_item *key = key_of(language, &language->patterns[p]);
            for (int k = 0; key && k < key->count; k++) {
                int *at = &from[language->options[key->first + k]];
                if (fill)
                    of[--*at] = p;
                else
                    ++*at;
            }
            if (!key)
                keyless[p / 64] |= UINT64_C(1) << p % 64;
        }
        for (int word = 1; !fill && word <= language->word_count; word++)
            from[word] += from[word - 1];
    }
    language->patterns_from = from;
    language->patterns_of = of;
    language->keyless = keyless;
}

void harm_words_language_read(struct doc *doc, struct harm_language *ret)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "language"},
                                          {.name = "note"},
                                          {.name = "marks"},
                                          {.name = "filler"},
                                          {"sets", DOC_MAP, .each = read_set},
                                          {.name = "context"},
                                          {.name = "said"},
                                          {.name = "possible"},
                                          {.name = "bare"},
                                          {0}};
    struct loading loading = {.language = ret};
    struct doc_place top = doc_top(doc), context = doc_member(&top, "context"),
                     said = doc_member(&top, "said"), possible = doc_member(&top, "possible"),
                     bare = doc_member(&top, "bare");
    const char *kinds[HARM_KINDS + 1] = {0};
    for (int i = 0; i < HARM_KINDS; i++)
        kinds[i] = fields_find("harm")->words[i].word;
    const char *name = json_string_value(json_object_get(doc->root, "language"));
    *ret = (struct harm_language){.name = name ? xstrdup(name) : NULL};
    doc->context = &loading;
    read_words(&top, ret);
    doc_read(&top, ROWS, ret);
    read_group(&context, HARM_CONTEXTS, ret->context);
    read_group(&said, kinds, ret->said);
    ret->possible = add_set(&possible, "possible");
    ret->bare = add_set(&bare, "bare");
    doc->context = NULL;
    index_slips(ret);
    index_keys(ret);
}

void harm_words_language_free(struct harm_language *language)
{
    for (int k = 0; k < LEXICON_NUMBERS; k++)
        free(language->by_letter[k]);
    free(language->words);
    free(language->items);
    free(language->options);
    free(language->patterns_of);
    free(language->patterns_from);
    free(language->keyless);
    free(language->patterns);
    free(language->table);
    for (int i = 0; i < language->set_count; i++)
        free(language->sets[i].name);
    free(language->name);
    *language = (struct harm_language){0};
}
