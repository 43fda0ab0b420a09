/* Returns over a period, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_RETURNS_SHOW_H
#define ODDLOAF_CLIENT_SHOW_RETURNS_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `document`: the answer to GET /v1/returns. */
void returns_show(const struct view *v, const json_t *document);

#endif
