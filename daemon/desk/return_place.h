/* Where returned goods stand. */
#ifndef ODDLOAF_DESK_RETURN_PLACE_H
#define ODDLOAF_DESK_RETURN_PLACE_H

#include "rules/catalogue.h"

/* What to tell whoever has put returned goods at `put_at` (free text, NULL or "" unknown); NULL if
 * that is a place outside the process area. Static text. That returned goods stay away from cooling
 * and packing is common practice, no source. */
const char *return_place_caution(const struct catalogue *catalogue, const char *put_at);

#endif
