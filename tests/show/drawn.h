/* All that a test program has drawn, whole, in tests/show/drawn/NAME.txt: an element a line,
 * without style sheets. After a change that was meant, PAGES=write in the environment writes it
 * anew: read the difference. */
#ifndef ODDLOAF_TESTS_SHOW_DRAWN_H
#define ODDLOAF_TESTS_SHOW_DRAWN_H

#include "pages.h"

enum { DRAWN_MOST = 60000 }; /* a piece made to be large says nothing more */

static inline struct text_buffer *drawn_all(void)
{
    static struct text_buffer all;
    return &all;
}

static inline void drawn_keep(const char *text)
{
    struct text_buffer *all = drawn_all();
    const char *style = strstr(text, "<style>"), *end = style ? strstr(style, "</style>") : NULL;
    if (strlen(text) > DRAWN_MOST)
        return;
    text_append(all, "---- drawn ----\n");
    for (const char *at = text; *at; at++) {
        if (at == style)
            at = end;
        text_append_bytes(all, at, 1);
        if (*at == '>' && at[1] != '\n')
            text_append(all, "\n");
    }
    text_append(all, "\n");
}

/* The line in which it differs first says more than the whole. */
static inline void drawn_compare(const char *path, const char *text)
{
    char *expected = pages_read(path);
    size_t same = 0, line;
    while (text[same] && text[same] == expected[same])
        same++;
    for (line = same; line > 0 && text[line - 1] != '\n';)
        line--;
    if (text[same] != expected[same])
        fail_msg("%s: not %.*s but %.*s", path, (int)strcspn(expected + line, "\n"),
                 expected + line, (int)strcspn(text + line, "\n"), text + line);
    free(expected);
}

static inline void drawn_check(const char *name)
{
    char path[512];
    snprintf(path, sizeof path, "%s/tests/show/drawn/%s.txt", ODDLOAF_SOURCE_DIR, name);
    const char *how = getenv("PAGES");
    if (how && strcmp(how, "write") == 0)
        pages_write(path, drawn_all()->data);
    else
        drawn_compare(path, drawn_all()->data);
    text_buffer_free(drawn_all());
}

#endif
