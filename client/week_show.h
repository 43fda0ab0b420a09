/* The weekly pattern on a terminal. */
#ifndef ODDLOAF_CLIENT_WEEK_SHOW_H
#define ODDLOAF_CLIENT_WEEK_SHOW_H

#include "view.h"
#include <jansson.h>

/* `by`: the factors to show, "line,route"; NULL: all. */
void week_show(const struct view *v, const json_t *document, const char *by);

#endif
