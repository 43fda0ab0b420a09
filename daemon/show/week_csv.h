/* A week or another span as CSV, a table a file. */
#ifndef ODDLOAF_SHOW_WEEK_CSV_H
#define ODDLOAF_SHOW_WEEK_CSV_H

#include <jansson.h>
#include <stdbool.h>

/* The tables there are, "rates" first; NULL at the end. */
extern const char *const WEEK_CSV_TABLES[];
/* lists that a report has only when asked; a week's has harm always */
enum { WEEK_CSV_HARM = 10, WEEK_CSV_COMPLAINTS = 12, WEEK_CSV_CASES };

/* `table`: index of WEEK_CSV_TABLES. RFC 4180; a cell that a spreadsheet would take for a formula
 * begins with an apostrophe. What the report has no such table of has a header alone. malloc'd. */
/* Whether a month, a quarter or a year has it: what is judged, and what is of now, is a week's. */
bool week_csv_of_span(int table);
char *week_csv(const json_t *report, int table);

#endif
