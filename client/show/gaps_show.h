/* What the records lack, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_GAPS_SHOW_H
#define ODDLOAF_CLIENT_SHOW_GAPS_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `document`: the answer to GET /v1/gaps. */
void gaps_show(const struct view *v, const json_t *document);

#endif
