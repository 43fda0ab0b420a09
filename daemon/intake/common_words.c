#include "intake/common_words.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/rule_folder.h"
#include <jansson.h>
#include <stdio.h>
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

/* Adds the words of one line; the one that is none, or NULL. */
static const char *add_line(struct text_buffer *all, char *line)
{
    char *save = NULL;
    for (char *word = strtok_r(line, " ", &save); word; word = strtok_r(NULL, " ", &save)) {
        if (!is_word(word))
            return word;
        text_append_bytes(all, word, strlen(word) + 1);
    }
    return NULL;
}

static int add_file(const char *path, void *arg, struct error *err)
{
    json_t *document = NULL, *item;
    size_t i;
    int rc = jsonx_load(path, &document, err);
    if (rc)
        return rc;
    const json_t *words = json_object_get(document, "words");
    if (!json_is_array(words))
        rc = rule_folder_fail(path, "/words", NULL, "must be a list of lines of words", err);
    json_array_foreach(words, i, item)
    {
        char line[LINE_SIZE], where[48];
        const char *text = json_string_value(item), *wrong = NULL;
        snprintf(where, sizeof where, "/words/%zu", i);
        bool fits = text && strlen(text) < sizeof line;
        if (fits)
            wrong = add_line(arg, text_fold(text, line, sizeof line));
        if (!rc && !fits)
            rc = rule_folder_fail(path, where, text, "must be a text of at most 1023 bytes", err);
        else if (!rc && wrong)
            rc = rule_folder_fail(path, where, wrong, "not a word: letters and digits", err);
    }
    json_decref(document);
    return rc;
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

int common_words_load(const char *dir, struct common_words **ret, struct error *err)
{
    struct text_buffer all = {0};
    int rc = rule_folder_each(dir, add_file, &all, err);
    if (rc) {
        text_buffer_free(&all);
        return rc;
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
