/* Pieces of the week's page: numbers, names and tables in HTML, charts in SVG. The page shows what
 * the report holds and works nothing out anew. Inside show/. */
#ifndef ODDLOAF_SHOW_PAGE_H
#define ODDLOAF_SHOW_PAGE_H

#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>

extern const char PAGE_STYLE[]; /* light, dark, on a phone, on paper */

double page_number(const json_t *object, const char *name); /* NAN: not there */
const char *page_text(const json_t *object, const char *name);
bool page_true(const json_t *object, const char *name);

/* 1 234, 65.8, 0.19: as exact as an interval deserves, thousands grouped by narrow blanks; "–" of
 * NAN. */
void page_add_number(struct text_buffer *b, double x);
/* "12.1 to 40.3"; one number if they are the same. */
void page_add_range(struct text_buffer *b, double low, double high);
void page_add_text(struct text_buffer *b, const json_t *object, const char *name);
/* "Off-odor" */
void page_add_name(struct text_buffer *b, const char *word);

/* ---- tables ---- */

/* Classes: "n" a number, "w" not to be wrapped, "wide" reached on a
 * phone by scrolling sideways, while the first column stands. */
struct page_column {
    const char *title; /* HTML */
    const char *class; /* "" for none */
};

/* Opens a table with its heads; page_close_table() ends it. A last column without a title ends. */
void page_open_table(struct text_buffer *b, const struct page_column *columns);
void page_close_table(struct text_buffer *b);
/* A cell of text, a number, a range; what it holds is "–" where there is none. */
void page_cell_text(struct text_buffer *b, const char *class, const char *text);
void page_cell_number(struct text_buffer *b, const char *class, double x);
/* What is counted by shares: "7", "about 3", "<1". */
void page_cell_about(struct text_buffer *b, const char *class, double count);
void page_cell_range(struct text_buffer *b, const char *class, double low, double high);
/* A cell with a name and, smaller below it, what it is: "Line 2", "mold". */
void page_cell_what(struct text_buffer *b, const char *name, const char *kind);

/* ---- sections (week_tables.c, week_rates_html.c) ---- */

void page_stories(struct text_buffer *b, const json_t *report);
void page_signals(struct text_buffer *b, const json_t *report);
void page_causes(struct text_buffer *b, const json_t *report);
void page_to_come(struct text_buffer *b, const json_t *report);
void page_right(struct text_buffer *b, const json_t *report);
/* What it was in the span it was asked against; nothing if it was not. */
void page_against(struct text_buffer *b, const json_t *report);
void page_rates(struct text_buffer *b, const json_t *report);

/* ---- charts ---- */

/* Rates by week with center and limits; what lies outside is marked by shape and colour. */
void page_rate_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* The cumulative sum and its limit. */
void page_sum_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* By week of make: reported, and where the final rate will lie, which of few complaints cannot be
 * told: false if it is told of no week. */
bool page_made_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* A rate and its interval on a scale up to `most`; an ornament beside the numbers. */
void page_whisker(struct text_buffer *b, double value, double low, double high, double most);
/* A bar of a share, an ornament beside the numbers. */
void page_bar(struct text_buffer *b, double share);

#endif
