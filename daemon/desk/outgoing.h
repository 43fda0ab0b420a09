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
/* The same of an urgent event of a case: the first word of a kind of harm leaves at once, and so
 * does the first that a person told of what was heard in a note only ("harm_heard"), and the first
 * of a word of gravity ("grave"); what says no more than the case's mails of the last `gather_ms`
 * did, since its verdict, is gathered into one, which leaves that long after them. *ret_gathered:
 * it was. */
int outgoing_add_urgent(struct store *store, const struct outbox_new *mail, int64_t gather_ms,
                        json_t *event, bool *ret_gathered, struct error *err);
/* The same of what is said where no case tells it ("alone"): the first few at once, all others of
 * that minute in one mail, as a file of results brings them. */
int outgoing_add_alone(struct store *store, const struct outbox_new *mail, json_t *event,
                       bool *ret_gathered, struct error *err);

#endif
