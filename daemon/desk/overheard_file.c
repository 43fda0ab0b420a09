#include "desk/overheard_file.h"
#include "base/length.h"
#include <stdlib.h>
#include <string.h>

enum {
    PIECE = 2000, /* bytes of a paragraph from which it ends with its line */
    LINE = 8000,  /* of a line from which it ends with its word */
    ROW = 40,     /* of a row's name, and of what it says */
    QUOTE = 160
};

/* Past the paragraph, row or run of words that begins here. */
static size_t piece_end(const char *text)
{
    size_t at = 0;
    for (; text[at]; at++) {
        size_t next = at + 1 + (text[at + 1] == '\r');
        if (text[at] == '\n' && (text[next] == '\n' || at > PIECE))
            return at + 1;
        if (text[at] == ' ' && at > LINE)
            return at + 1;
    }
    return at;
}

/* "Foreign matter: none found" as it is denied in a sentence: "none found foreign matter". */
static void turn_row(const char *line, size_t length, struct text_buffer *out)
{
    const char *colon = memchr(line, ':', length);
    size_t label = colon ? (size_t)(colon - line) : 0;
    bool row =
        colon && label < ROW && length - label < ROW && !memchr(colon + 1, ':', length - label - 1);
    for (size_t i = 0; row && i < label; i++)
        row = !strchr(".;!?,", line[i]);
    if (row)
        text_appendf(out, "%.*s %.*s", (int)(length - label - 1), colon + 1, (int)label, line);
    else
        text_appendf(out, "%.*s", (int)length, line);
}

/* Its rows turned; it has as many lines. */
static void turn_rows(const char *piece, struct text_buffer *out)
{
    text_append(out, "");
    for (const char *line = piece; *line;) {
        size_t length = strcspn(line, "\r\n");
        turn_row(line, length, out);
        line += length;
        length = strspn(line, "\r\n");
        text_appendf(out, "%.*s", (int)length, line);
        line += length;
    }
}

/* The line of the piece that byte `at` of its turned text stands in. */
static void quote(const char *piece, const char *turned, size_t at, struct text_buffer *out)
{
    char clipped[QUOTE + 1];
    size_t begin = 0;
    for (size_t i = 0; i < at; i++)
        if (turned[i] == '\n') {
            piece = strchr(piece, '\n') + 1;
            begin = i + 1;
        }
    if (at - begin > QUOTE / 2) /* no row: those are short, and stand as they were */
        piece += at - begin - QUOTE / 2;
    char *line = xstrndup(piece, strcspn(piece, "\r\n"));
    text_clip(line, clipped, sizeof clipped);
    if (out->length + strlen(clipped) + 3 < LENGTH_NOTE)
        text_appendf(out, "%s%s", out->length ? " / " : "", clipped);
    free(line);
}

static bool adds(json_t *harm, const json_t *more)
{
    size_t i, k;
    json_t *kind, *old;
    bool any = false;
    json_array_foreach((json_t *)(uintptr_t)more, i, kind)
    {
        bool has = false;
        json_array_foreach(harm, k, old)
        {
            has = has || json_equal(kind, old);
        }
        if (!has)
            json_array_append(harm, kind);
        any = any || !has;
    }
    return any;
}

void overheard_file_read(const struct lexicon *lexicon, const char *text,
                         struct overheard_file *ret)
{
    *ret = (struct overheard_file){0};
    for (size_t length; *text; text += length) {
        size_t at = 0;
        length = piece_end(text);
        char *piece = xstrndup(text, length);
        struct text_buffer turned = {0};
        turn_rows(piece, &turned);
        json_t *harm = lexicon_harm(lexicon, turned.data, &at);
        bool first = harm && !ret->harm;
        if (first)
            ret->harm = json_array();
        if (harm && (adds(ret->harm, harm) || first))
            quote(piece, turned.data, at, &ret->quotes);
        json_decref(harm);
        text_buffer_free(&turned);
        free(piece);
    }
}

void overheard_file_clear(struct overheard_file *file)
{
    json_decref(file->harm);
    text_buffer_free(&file->quotes);
    *file = (struct overheard_file){0};
}
