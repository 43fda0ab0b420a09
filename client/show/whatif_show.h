/* What the models expect with something done otherwise, and what would have held. */
#ifndef ODDLOAF_CLIENT_SHOW_WHATIF_SHOW_H
#define ODDLOAF_CLIENT_SHOW_WHATIF_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `document`: answers/whatif.schema.json. */
void whatif_show(const struct view *v, const json_t *document);

#endif
