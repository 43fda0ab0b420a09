#include "intake/common_words.h"
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 1024 };

struct common_words {
    char *text; /* the words, a NUL after each */
    size_t length;
    const char **table; /* open hash of them, less than half full; NULL: a free place */
    size_t size;        /* a power of two */
};

static bool is_word(const char *word)
{
    while ((*word >= 'a' && *word <= 'z') || (*word >= '0' && *word <= '9'))
        word++;
    return !*word;
}

static void add_line(const struct doc_place *place, void *all)
{
    char line[LINE_SIZE], *save = NULL;
    const char *text = json_string_value(place->value);
    if (!text || strlen(text) >= sizeof line) {
        doc_fault(place, "must be a text of at most %d bytes", LINE_SIZE - 1);
        return;
    }
    text_fold(text, line, sizeof line);
    for (char *word = strtok_r(line, " ", &save); word; word = strtok_r(NULL, " ", &save)) {
        if (is_word(word))
            text_append_bytes(all, word, strlen(word) + 1);
        else
            doc_fault(place, "'%s' is not a word: letters and digits", word);
    }
}

static void add_file(struct doc *doc, const char *stem, void *all)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "language"},
                                          {.name = "note"},
                                          {"words", DOC_LIST, .each = add_line, .required = true},
                                          {0}};
    struct doc_place top = doc_top(doc);
    (void)stem;
    doc_read(&top, ROWS, all);
}

/* Where it stands, or would. */
static size_t place_of(const struct common_words *words, const char *word)
{
    uint32_t hash = 2166136261u; /* FNV-1a */
    for (const char *c = word; *c; c++)
        hash = (hash ^ (unsigned char)*c) * 16777619u;
    size_t at = hash & (words->size - 1);
    while (words->table[at] && strcmp(words->table[at], word) != 0)
        at = (at + 1) & (words->size - 1);
    return at;
}

static void make_table(struct common_words *words)
{
    size_t count = 0;
    const char *end = words->text + words->length;
    for (const char *at = words->text; at < end; at += strlen(at) + 1)
        count++;
    words->size = 2;
    while (words->size <= 2 * count)
        words->size *= 2;
    words->table = xcalloc(words->size, sizeof *words->table);
    for (const char *at = words->text; at < end; at += strlen(at) + 1)
        words->table[place_of(words, at)] = at;
}

int common_words_load(const char *dir, doc_report report, void *arg, struct common_words **ret,
                      struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct text_buffer all = {0};
    doc_each(&doc, dir, add_file, &all);
    if (doc.first.code) {
        text_buffer_free(&all);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    struct common_words *words = xcalloc(1, sizeof *words);
    words->length = all.length;
    words->text = text_take(&all);
    make_table(words);
    *ret = words;
    return 0;
}

void common_words_free(struct common_words *words)
{
    if (!words)
        return;
    free(words->table);
    free(words->text);
    free(words);
}

bool common_words_has(const struct common_words *words, const char *word)
{
    return words && words->table[place_of(words, word)];
}
