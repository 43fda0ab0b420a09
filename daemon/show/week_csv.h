/* The week's report (patterns/week.h) as one table of rates, by week of receipt and (made_…) by
 * week of packing. */
#ifndef ODDLOAF_SHOW_WEEK_CSV_H
#define ODDLOAF_SHOW_WEEK_CSV_H

#include <jansson.h>

/* malloc'd; lines end with CRLF as RFC 4180 has it. */
char *week_csv(const json_t *report);

#endif
