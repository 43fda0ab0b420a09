/* How right the rankings were that verdicts met, how long a verdict took, and what is open.
 * Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_RIGHT_H
#define ODDLOAF_PATTERNS_WEEK_RIGHT_H

#include "patterns/week_data.h"
#include <jansson.h>

/* Verdicts of the week and of the quarter up to it; open cases as they stand. New references. */
int week_right_json(struct store *store, const struct week_data *data, json_t **ret_right,
                    json_t **ret_open, struct error *err);

#endif
