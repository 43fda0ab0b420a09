/* The week's report (patterns/week.h) as a page: self-contained, inline SVG and CSS, no script, no
 * outside request. It has every row of the factors that were asked for. */
#ifndef ODDLOAF_SHOW_WEEK_HTML_H
#define ODDLOAF_SHOW_WEEK_HTML_H

#include <jansson.h>

/* malloc'd. */
char *week_html(const json_t *report, const char *plant);

#endif
