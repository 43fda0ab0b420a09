#include "show/table.h"
#include "base/text.h"
#include "base/typeset.h"
#include <assert.h>
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

static int total(const int *widths, size_t count, int indent)
{
    int sum = indent + GAP * ((int)count - 1);
    for (size_t i = 0; i < count; i++)
        sum += widths[i];
    return sum;
}

/* The widest column that may still lose a column's width: first those that say so. */
static long next_to_shrink(const struct table *t, const int *widths, bool any)
{
    long best = -1;
    for (size_t i = 0; i < t->column_count; i++) {
        int least = any ? LEAST : t->columns[i].shrink;
        if (least > 0 && widths[i] > least && (best < 0 || widths[i] > widths[best]))
            best = (long)i;
    }
    return best;
}

static int *measure(const struct table *t, int width, int indent)
{
    int *widths = xcalloc(t->column_count, sizeof *widths);
    assert(t->column_count > 0);
    for (size_t i = 0; i < t->column_count; i++)
        widths[i] = text_columns(t->columns[i].title);
    for (size_t i = 0; i < t->cell_count; i++) {
        int columns = widest_line(t->cells[i]);
        int *w = &widths[i % t->column_count];
        if (columns > *w)
            *w = columns;
    }
    while (total(widths, t->column_count, indent) > width) {
        long i = next_to_shrink(t, widths, false);
        if (i < 0)
            i = next_to_shrink(t, widths, true);
        if (i < 0)
            break;
        widths[i]--;
    }
    return widths;
}

/* ---- printing ---- */

static void print_row(const struct table *t, const struct view *v, const int *widths, int indent,
                      const char *const *cells, enum view_style style)
{
    const char **rest = xcalloc(t->column_count, sizeof *rest);
    for (size_t i = 0; i < t->column_count; i++)
        rest[i] = cells[i];
    bool more = true;
    while (more) {
        more = false;
        int pending = indent; /* blanks owed before the next text, so that no line ends in them */
        for (size_t i = 0; i < t->column_count; i++) {
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
