/* Tables for the terminal: columns as wide as their text needs, shrunk and wrapped where the
 * terminal is too narrow, never cut, and wider than the view only where there are too many for
 * four columns each. */
#ifndef ODDLOAF_CLIENT_SHOW_TABLE_H
#define ODDLOAF_CLIENT_SHOW_TABLE_H

#include "show/view.h"

struct column {
    const char *title; /* "" for none */
    /* BENEATH, of the last one: on lines of its own under the row, without a title */
    enum { COLUMN_LEFT, COLUMN_RIGHT, COLUMN_BENEATH } side;
    int shrink; /* columns it may be shrunk to before the others are; 0: only if need be */
};

struct table;

/* `columns` is borrowed and must outlive the table. */
struct table *table_new(const struct column *columns, size_t count);
void table_free(struct table *t);
/* The next cell, row by row; copies; NULL is an empty cell. */
void table_add(struct table *t, const char *text);
void table_addf(struct table *t, const char *format, ...) __attribute__((format(printf, 2, 3)));
size_t table_rows(const struct table *t);
const char *table_cell(const struct table *t, size_t row, size_t column); /* borrowed */
/* Whether the rows stand side by side without a cell being wrapped. */
bool table_fits(const struct table *t, const struct view *v, int indent);
/* Heads (unless all are empty) and rows, `indent` columns in. */
void table_print(const struct table *t, const struct view *v, int indent);

#endif
