/* A week or another span as CSV, a table a file. */
#ifndef ODDLOAF_SHOW_WEEK_CSV_H
#define ODDLOAF_SHOW_WEEK_CSV_H

#include <jansson.h>

/* The tables there are, "rates" first; NULL at the end. */
extern const char *const WEEK_CSV_TABLES[];
enum { WEEK_CSV_COMPLAINTS = 10, WEEK_CSV_CASES }; /* lists that a report has only when asked */

/* `table`: index of WEEK_CSV_TABLES. RFC 4180; a cell that a spreadsheet would take for a formula
 * begins with an apostrophe. What the report has no such table of has a header alone. malloc'd. */
char *week_csv(const json_t *report, int table);

#endif
