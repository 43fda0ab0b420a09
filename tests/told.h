/* Answers whole but for their sentences: what a plant of a test is told, in
 * tests/LAYER/told/NAME.json. After a change that was meant, PAGES=write in the environment writes
 * them anew: read the difference. */
#ifndef ODDLOAF_TESTS_TOLD_H
#define ODDLOAF_TESTS_TOLD_H

#include "pages.h"

/* Six digits are what a test can hold on any machine; the hash and the place of rule files differ.
 * How a sentence is worded is for the test of whoever makes it: that there is one is held. */
enum { TOLD_FLAGS = JSON_INDENT(1) | JSON_SORT_KEYS | JSON_REAL_PRECISION(6), TOLD_BLANKS = 3 };

/* The sentences that were left out, a line each (told_sentences()). */
static inline struct text_buffer *told_said(void)
{
    static struct text_buffer said;
    return &said;
}

/* Whether it is a sentence, which then is among those left out. */
static inline bool told_sentence(const json_t *value)
{
    const char *text = json_string_value(value);
    int blanks = 0;
    while (text && *text)
        blanks += *text++ == ' ';
    if (blanks > TOLD_BLANKS)
        text_appendf(told_said(), "%s\n", json_string_value(value));
    return blanks > TOLD_BLANKS;
}

/* Texts are not written to: they are the rules' own. */
static inline void told_without(json_t *value)
{
    size_t i;
    const char *name;
    json_t *one;
    if (json_is_object(value)) {
        json_object_del(value, "rules");
        json_object_del(value, "file");
    }
    json_object_foreach(value, name, one)
    {
        if (told_sentence(one))
            json_object_set_new(value, name, json_string("…"));
        else
            told_without(one);
    }
    json_array_foreach(value, i, one)
    {
        if (told_sentence(one))
            json_array_set_new(value, i, json_string("…"));
        else
            told_without(one);
    }
}

/* Takes `answer`. */
static inline void told_check(const char *layer, const char *name, json_t *answer)
{
    char path[512];
    struct text_buffer line = {0};
    snprintf(path, sizeof path, "%s/tests/%s/told/%s.json", ODDLOAF_SOURCE_DIR, layer, name);
    told_without(answer);
    char *text = json_dumps(answer, TOLD_FLAGS);
    assert_non_null(text);
    text_appendf(&line, "%s\n", text);
    const char *how = getenv("PAGES");
    if (how && strcmp(how, "write") == 0)
        pages_write(path, line.data);
    else
        pages_compare(path, line.data);
    text_buffer_free(&line);
    free(text);
    json_decref(answer);
}

/* All that was left out so far, in tests/LAYER/told/sentences.txt: for the layer that makes them.
 */
static inline void told_sentences(const char *layer)
{
    char path[512];
    snprintf(path, sizeof path, "%s/tests/%s/told/sentences.txt", ODDLOAF_SOURCE_DIR, layer);
    const char *how = getenv("PAGES");
    if (how && strcmp(how, "write") == 0)
        pages_write(path, told_said()->data);
    else
        pages_compare(path, told_said()->data);
    text_buffer_free(told_said());
}

#endif
