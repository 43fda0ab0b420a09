#include "show/table.h"
#include "base/text.h"
#include "base/typeset.h"
#include <assert.h>
#include <limits.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define GAP 2
#define LEAST 4

struct table {
    const struct column *columns;
    size_t column_count;
    char **cells;
    size_t cell_count, capacity;
};

struct table *table_new(const struct column *columns, size_t count)
{
    struct table *t = xcalloc(1, sizeof *t);
    assert(count > 0);
    t->columns = columns;
    t->column_count = count;
    return t;
}

void table_free(struct table *t)
{
    if (!t)
        return;
    for (size_t i = 0; i < t->cell_count; i++)
        free(t->cells[i]);
    free(t->cells);
    free(t);
}

void table_add(struct table *t, const char *text)
{
    if (t->cell_count == t->capacity) {
        t->capacity = t->capacity ? t->capacity * 2 : 32;
        t->cells = xrealloc(t->cells, t->capacity * sizeof *t->cells);
    }
    t->cells[t->cell_count++] = xstrdup(text ? text : "");
}

void table_addf(struct table *t, const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    table_add(t, text.data);
    text_buffer_free(&text);
}

size_t table_rows(const struct table *t)
{
    return t->cell_count / t->column_count;
}

/* ---- widths ---- */

/* Columns that stand side by side. */
static size_t beside(const struct table *t)
{
    return t->column_count - (t->columns[t->column_count - 1].side == COLUMN_BENEATH);
}

static int widest_line(const char *text)
{
    int widest = 0;
    while (*text) {
        size_t next = 0;
        size_t length = typeset_break(text, 10000, &next);
        char *line = xstrndup(text, length);
        int columns = text_columns(line);
        free(line);
        if (columns > widest)
            widest = columns;
        text += next;
    }
    return widest;
}

/* What is not broken unless there is no other way: a word, a number with its unit; or, of a word
 * with hyphens, what stands between them ("ineffective-" of "inhibitor-ineffective-ph"). */
static int widest_word(const char *text, const char *hyphens)
{
    int widest = 0;
    while (*text) {
        size_t end = strcspn(text, " \n"), piece = strcspn(text, hyphens);
        size_t length = piece < end ? piece + 1 : end;
        char *word = xstrndup(text, length);
        int columns = text_columns(word);
        free(word);
        if (columns > widest)
            widest = columns;
        text += length;
        text += piece >= end && *text;
    }
    return widest;
}

static int total(const int *widths, size_t count)
{
    int sum = GAP * ((int)count - 1);
    for (size_t i = 0; i < count; i++)
        sum += widths[i];
    return sum;
}

/* The widest column that may still lose a column's width, or -1. */
static long next_to_shrink(const int *widths, const int *least, size_t count)
{
    long best = -1;
    for (size_t i = 0; i < count; i++)
        if (least[i] > 0 && widths[i] > least[i] && (best < 0 || widths[i] > widths[best]))
            best = (long)i;
    return best;
}

/* Of a column's texts, in columns of the terminal. */
struct need {
    int word, piece;
};

/* What a column may be shrunk to: first those that say so, then all as far as no word is broken,
 * then at hyphens, then anywhere. 0: not at all. */
enum shrinking { SHRINK_SAID, SHRINK_WORDS, SHRINK_PIECES, SHRINK_ANY, SHRINK_NO_MORE };

static int at_least(int least, int columns)
{
    return columns > least ? columns : least;
}

static int least_of(const struct column *column, const struct need *need, enum shrinking how)
{
    if (how == SHRINK_SAID)
        return column->shrink ? at_least(column->shrink, need->piece) : 0;
    return how == SHRINK_WORDS    ? at_least(LEAST, need->word)
           : how == SHRINK_PIECES ? at_least(LEAST, need->piece)
                                  : LEAST;
}

static void shrink(const struct table *t, int *widths, const struct need *needs, int most)
{
    int *least = xcalloc(t->column_count, sizeof *least);
    for (enum shrinking how = SHRINK_SAID; how < SHRINK_NO_MORE; how++) {
        long i = 0;
        for (size_t c = 0; c < beside(t); c++)
            least[c] = least_of(&t->columns[c], &needs[c], how);
        while (total(widths, beside(t)) > most &&
               (i = next_to_shrink(widths, least, beside(t))) >= 0)
            widths[i]--;
    }
    free(least);
}

/* A word longer than words are (an address, a row of one letter) is broken before all others are.
 */
static int no_longer(int columns)
{
    enum { LONGEST = 24 };
    return columns > LONGEST ? LEAST : columns;
}

static int *measure(const struct table *t, int width, int indent)
{
    int *widths = xcalloc(t->column_count, sizeof *widths);
    struct need *needs = xcalloc(t->column_count, sizeof *needs);
    assert(t->column_count > 0);
    for (size_t i = 0; i < t->column_count + t->cell_count; i++) {
        size_t column = i % t->column_count;
        const char *text =
            i < t->column_count ? t->columns[i].title : t->cells[i - t->column_count];
        struct need *need = &needs[column];
        widths[column] = at_least(widths[column], widest_line(text));
        need->word = at_least(need->word, no_longer(widest_word(text, "")));
        need->piece = at_least(need->piece, no_longer(widest_word(text, "-_/")));
    }
    shrink(t, widths, needs, width - indent);
    free(needs);
    return widths;
}

bool table_fits(const struct table *t, const struct view *v, int indent)
{
    int *widths = measure(t, INT_MAX, 0);
    bool fits = total(widths, beside(t)) <= v->width - indent;
    free(widths);
    return fits;
}

const char *table_cell(const struct table *t, size_t row, size_t column)
{
    assert(row < table_rows(t) && column < t->column_count);
    return t->cells[row * t->column_count + column];
}

/* ---- printing ---- */

static void print_row(const struct table *t, const struct view *v, const int *widths, int indent,
                      const char *const *cells, enum view_style style)
{
    const char **rest = xcalloc(t->column_count, sizeof *rest);
    for (size_t i = 0; i < beside(t); i++)
        rest[i] = cells[i];
    bool more = true;
    while (more) {
        more = false;
        int pending = indent; /* blanks owed before the next text, so that no line ends in them */
        for (size_t i = 0; i < beside(t); i++) {
            size_t next = 0;
            size_t length = typeset_break(rest[i], widths[i], &next);
            char *piece = xstrndup(rest[i], length);
            int room = widths[i] - text_columns(piece);
            int before = t->columns[i].side == COLUMN_RIGHT ? room : 0;
            if (length > 0) {
                view_pad(v, pending + before);
                view_style_begin(v, style);
                view_put(v, piece, length);
                view_style_end(v, style);
                pending = room - before + GAP;
            } else {
                pending += widths[i] + GAP;
            }
            free(piece);
            rest[i] += next;
            more = more || *rest[i];
        }
        fputc('\n', v->out);
    }
    if (beside(t) < t->column_count && *cells[beside(t)])
        view_text(v, style, indent + GAP, GAP, cells[beside(t)]);
    free(rest);
}

void table_print(const struct table *t, const struct view *v, int indent)
{
    int *widths = measure(t, v->width, indent);
    const char **titles = xcalloc(t->column_count, sizeof *titles);
    bool titled = false;
    for (size_t i = 0; i < t->column_count; i++) {
        titles[i] = t->columns[i].title;
        titled = titled || *titles[i];
    }
    if (titled)
        print_row(t, v, widths, indent, titles, VIEW_DIM);
    for (size_t i = 0; i + t->column_count <= t->cell_count; i += t->column_count)
        print_row(t, v, widths, indent, (const char *const *)&t->cells[i], VIEW_PLAIN);
    free(titles);
    free(widths);
}
