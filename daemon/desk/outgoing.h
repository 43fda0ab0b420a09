/* Events on their way into the outbox (store/outbox.h), and in it: without the names of those who
 * called, as they are known when it is queued, whoever of a complaint's callers told them. What
 * becomes known later: desk/apart_past.h. */
#ifndef ODDLOAF_DESK_OUTGOING_H
#define ODDLOAF_DESK_OUTGOING_H

#include "store/outbox.h"
#include <jansson.h>

/* The event with what it tells in people's words masked by `caller` (a contact). `sure`: numbers
 * were masked before, but for the caller's own. New reference. */
json_t *outgoing_masked(const json_t *event, const json_t *caller, bool sure);
/* Queues `mail` with `event` as its payload (the mail's own is not looked at). What the event says
 * of a report, in "complaint" or in "said", is masked by all who reported the same. Takes `event`.
 * In the writer's transaction. */
int outgoing_add(struct store *store, const struct outbox_new *mail, json_t *event,
                 struct error *err);

#endif
