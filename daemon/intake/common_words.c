#include "intake/common_words.h"
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 1024 };

struct common_words {
    char *text; /* the words, a NUL after each */
    size_t length;
    const char **sorted; /* into text */
    size_t count, capacity;
};

static bool is_word(const char *word)
{
    return strspn(word, "abcdefghijklmnopqrstuvwxyz0123456789") == strlen(word);
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

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static void sort(struct common_words *words)
{
    for (const char *at = words->text; at < words->text + words->length; at += strlen(at) + 1) {
        if (words->count == words->capacity) {
            words->capacity = words->capacity ? 2 * words->capacity : 1024;
            words->sorted = xrealloc(words->sorted, words->capacity * sizeof *words->sorted);
        }
        words->sorted[words->count++] = at;
    }
    if (words->count)
        qsort(words->sorted, words->count, sizeof *words->sorted, by_text);
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
    sort(words);
    *ret = words;
    return 0;
}

void common_words_free(struct common_words *words)
{
    if (!words)
        return;
    free(words->sorted);
    free(words->text);
    free(words);
}

bool common_words_has(const struct common_words *words, const char *word)
{
    return words && words->count &&
           bsearch(&word, words->sorted, words->count, sizeof *words->sorted, by_text);
}
