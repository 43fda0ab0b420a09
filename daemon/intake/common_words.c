#include "intake/common_words.h"
#include "intake/word_set.h"
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 1024 };

struct common_words {
    char *text; /* the words, a NUL after each */
    struct word_set set;
};
struct loading {
    struct text_buffer text;
    size_t count;
};

static size_t letters(const char *word)
{
    const char *end = word;
    while ((*end >= 'a' && *end <= 'z') || (*end >= '0' && *end <= '9'))
        end++;
    return (size_t)(end - word);
}

static void add_line(const struct doc_place *place, void *all)
{
    static const char PLAIN[] = "abcdefghijklmnopqrstuvwxyz0123456789 "; /* nothing to fold */
    struct loading *loading = all;
    struct text_buffer *words = &loading->text;
    char folded[LINE_SIZE];
    const char *line = json_string_value(place->value);
    if (!line || strlen(line) >= sizeof folded) {
        doc_fault(place, "must be a text of at most %d bytes", LINE_SIZE - 1);
        return;
    }
    if (line[strspn(line, PLAIN)])
        line = text_fold(line, folded, sizeof folded);
    for (const char *word = line, *end; *word; word = *end ? end + 1 : end) {
        end = word + letters(word);
        if (*end && *end != ' ') {
            end = word + strcspn(word, " ");
            doc_fault(place, "'%.*s' is not a word: letters and digits", (int)(end - word), word);
        } else if (end > word) {
            text_append_bytes(words, word, (size_t)(end - word) + 1);
            words->data[words->length - 1] = '\0';
            loading->count++;
        }
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

int common_words_load(const char *dir, doc_report report, void *arg, struct common_words **ret,
                      struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct loading all = {0};
    doc_each(&doc, dir, add_file, &all);
    if (doc.first.code) {
        text_buffer_free(&all.text);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    struct common_words *words = xcalloc(1, sizeof *words);
    const size_t length = all.text.length;
    words->text = text_take(&all.text);
    word_set_reserve(&words->set, all.count);
    for (size_t at = 0; at < length; at += strlen(words->text + at) + 1)
        word_set_add(&words->set, words->text + at);
    *ret = words;
    return 0;
}

void common_words_free(struct common_words *words)
{
    if (!words)
        return;
    word_set_free(&words->set);
    free(words->text);
    free(words);
}

bool common_words_has(const struct common_words *words, const char *word)
{
    return words && word_set_has(&words->set, word);
}
