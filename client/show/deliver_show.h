/* A logged complaint for people. */
#ifndef ODDLOAF_CLIENT_SHOW_DELIVER_SHOW_H
#define ODDLOAF_CLIENT_SHOW_DELIVER_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* What the daemon answered to a complaint as it was sent: its case and lot, what the note gave,
 * likely causes unless it reports harm, what to ask, cautions, and last what to tell the caller. */
void deliver_show(const struct view *v, const json_t *complaint, const json_t *answer);
/* What to tell the caller of one that was only kept on disk. Static. */
const char *deliver_show_kept(const json_t *complaint);

#endif
