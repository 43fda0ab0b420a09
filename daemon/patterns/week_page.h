/* Pieces of the week's page: numbers and names in HTML, charts in SVG. The page shows what the
 * report holds and works nothing out anew. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_PAGE_H
#define ODDLOAF_PATTERNS_WEEK_PAGE_H

#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>

double page_number(const json_t *object, const char *name); /* NAN: not there */
const char *page_text(const json_t *object, const char *name);
bool page_true(const json_t *object, const char *name);

/* Three significant digits, thousands grouped by narrow blanks; "–" of NAN. */
void page_add_number(struct text_buffer *b, double x);
/* "12.1 to 40.3" */
void page_add_range(struct text_buffer *b, double low, double high);
void page_add_text(struct text_buffer *b, const json_t *object, const char *name);

/* Rates by week with center and limits; what lies outside is marked by shape and colour. */
void page_rate_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* The cumulative sum and its limit. */
void page_sum_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* By week of make: reported, and where the final rate will lie. */
void page_made_chart(struct text_buffer *b, const char *symptom, const json_t *chart);
/* A rate and its interval on a scale up to `most`; an ornament beside the numbers. */
void page_whisker(struct text_buffer *b, double value, double low, double high, double most);
/* A bar of a share, an ornament beside the numbers. */
void page_bar(struct text_buffer *b, double share);

#endif
