/* A lot on a terminal: what its code means, its records beside target and beside recent lots. */
#ifndef ODDLOAF_CLIENT_SHOW_LOT_SHOW_H
#define ODDLOAF_CLIENT_SHOW_LOT_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `document`: the answer to GET /v1/lots/CODE. */
void lot_show(const struct view *v, const json_t *document);

#endif
