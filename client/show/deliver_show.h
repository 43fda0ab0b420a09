/* A logged complaint for people. */
#ifndef ODDLOAF_CLIENT_SHOW_DELIVER_SHOW_H
#define ODDLOAF_CLIENT_SHOW_DELIVER_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* "the lot", "ranked causes", … of a logged complaint, for people. */
void deliver_show(const struct view *v, const json_t *complaint, const json_t *answer);
/* What to tell the caller of one that was only kept on disk. Static. */
const char *deliver_show_kept(const json_t *complaint);

#endif
