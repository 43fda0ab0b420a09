/* Holds, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_HOLD_H
#define ODDLOAF_CLIENT_SHOW_HOLD_H

#include "show/view.h"
#include <jansson.h>

/* Of an answer to hold or release: which of the codes are on no record, and what comes of that. */
void hold_show_unrecorded(const struct view *v, const json_t *answer);

#endif
