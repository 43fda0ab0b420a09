/* The weekly pattern on a terminal. */
#ifndef ODDLOAF_CLIENT_SHOW_WEEK_SHOW_H
#define ODDLOAF_CLIENT_SHOW_WEEK_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* All of it; of a week asked `by` some factors what is of all together, and their rates. */
void week_show(const struct view *v, const json_t *document);
/* The tables of rates: of factors asked for every row, by week of receipt and of packing. */
void week_show_rates(const struct view *v, const json_t *document);

/* A month, a quarter or a year. */
void week_show_span(const struct view *v, const json_t *document);

/* Inside show/: parts of the above. Each shows nothing of what the document does not have. */
void week_show_returns(const struct view *v, const json_t *returns);
/* How many complaints nothing is ranked of; nothing if there are none. */
void week_show_other(const struct view *v, const json_t *document);
void week_show_causes(const struct view *v, const json_t *document);
/* What it was in another time; nothing if that was not asked for. */
void week_show_against(const struct view *v, const json_t *document);

#endif
