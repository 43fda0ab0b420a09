/* What became of a complaint that was corrected, withdrawn or brought back. */
#ifndef ODDLOAF_CLIENT_SHOW_CHANGE_SHOW_H
#define ODDLOAF_CLIENT_SHOW_CHANGE_SHOW_H

#include "show/view.h"
#include <jansson.h>

void change_show(const struct view *v, const json_t *answer);

#endif
