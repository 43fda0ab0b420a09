#include "desk/overheard_file.h"
#include "base/jsonx.h"
#include "base/length.h"
#include "desk/lab_row.h"
#include "intake/lexicon.h"
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

static bool is_name(const char *line, size_t label)
{
    bool row = label && label < ROW;
    for (size_t i = 0; row && i < label; i++)
        row = !strchr(".;!?,", line[i]);
    return row;
}

/* "Foreign matter: none found" as it is denied in a sentence: "none found foreign matter". A row
 * that only denies is left out. */
static void turn_row(const json_t *harm, const char *line, size_t length, struct text_buffer *out)
{
    const char *mark = NULL;
    size_t marks = 0;
    for (size_t i = 0; i < length; i++)
        if (strchr(":\t|=", line[i]) && marks++ == 0)
            mark = line + i;
    size_t label = mark ? (size_t)(mark - line) : 0, said = length - label;
    bool row = marks == 1 && said < QUOTE && is_name(line, label);
    struct text_buffer tells = {0};
    bool denies = row && !lab_row_tells(harm, line, label, mark + 1, said - 1, &tells);
    for (const char *cells = ",;\t|"; *cells && !denies; cells++)
        denies = length < QUOTE && lab_row_cells_deny(harm, line, length, *cells);
    if (denies)
        ;
    else if (row && *mark == ':' && said < ROW)
        text_appendf(out, "%s %.*s", tells.data, (int)label, line);
    else if (row)
        text_appendf(out, "%.*s%s", (int)(label + 1), line, tells.data);
    else
        text_appendf(out, "%.*s", (int)length, line);
    text_buffer_free(&tells);
}

/* Its rows turned; it has as many lines. */
static void turn_rows(const json_t *harm, const char *piece, struct text_buffer *out)
{
    text_append(out, "");
    for (const char *line = piece; *line;) {
        size_t length = strcspn(line, "\r\n");
        turn_row(harm, line, length, out);
        line += length;
        length = strspn(line, "\r\n");
        text_appendf(out, "%.*s", (int)length, line);
        line += length;
    }
}

/* A paragraph, its turned text, and up to where that was quoted. */
struct paragraph {
    const char *said, *turned;
    size_t quoted;
};

/* The line that byte `at` of the turned text stands in; a long one, from somewhat before. */
static void quote(struct paragraph *p, size_t at, struct text_buffer *out)
{
    char clipped[QUOTE + 1];
    const char *said = p->said;
    size_t begin = 0;
    if (at < p->quoted)
        return;
    for (size_t i = 0; i < at; i++)
        if (p->turned[i] == '\n') {
            said = strchr(said, '\n') + 1;
            begin = i + 1;
        }
    if (at - begin > QUOTE / 2) { /* no row: those are short, and stand as they were */
        said += at - begin - QUOTE / 2;
        begin = at - QUOTE / 2;
        for (; ((unsigned char)*said & 0xC0) == 0x80; said++) /* within a letter */
            begin++;
    }
    char *line = xstrndup(said, strcspn(said, "\r\n"));
    text_clip(line, clipped, sizeof clipped);
    p->quoted = begin + strlen(clipped);
    if (out->length + strlen(clipped) + 3 < LENGTH_NOTE)
        text_appendf(out, "%s%s", out->length ? " / " : "", clipped);
    free(line);
}

static void read_paragraph(const struct lexicon *lexicon, struct paragraph *p,
                           struct overheard_file *ret)
{
    size_t at[LEXICON_HARMS], i;
    json_t *harm = lexicon_harm(lexicon, p->turned, at), *kind;
    if (harm && !ret->harm) {
        ret->harm = json_array();
        if (!json_array_size(harm))
            quote(p, at[0], &ret->quotes);
    }
    json_array_foreach(harm, i, kind)
    {
        if (jsonx_holds(ret->harm, kind))
            continue;
        json_array_append(ret->harm, kind);
        quote(p, at[i], &ret->quotes);
    }
    json_decref(harm);
}

void overheard_file_read(const struct desk *desk, const char *text, struct overheard_file *ret)
{
    *ret = (struct overheard_file){0};
    for (size_t length; *text; text += length) {
        length = piece_end(text);
        char *piece = xstrndup(text, length);
        struct text_buffer turned = {0};
        turn_rows(desk->harm, piece, &turned);
        struct paragraph p = {.said = piece, .turned = turned.data};
        read_paragraph(desk->lexicon, &p, ret);
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
