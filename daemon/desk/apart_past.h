/* What was put on record and mailed of a report before all of its contact data was known. */
#ifndef ODDLOAF_DESK_APART_PAST_H
#define ODDLOAF_DESK_APART_PAST_H

#include "store/store.h"
#include <jansson.h>

/* Masks what `caller` (as a contact) is in: the reasons, texts that were and are of its changes
 * (store/change.h), and what is kept of the mails that told of it (store/outbox.h). In the writer's
 * transaction. */
int apart_past_mask(struct store *store, int64_t complaint_id, const char *report,
                    const json_t *caller, struct error *err);

/* A field of a report (intake/fields.h) said `was` and is masked now: what is counted by store and
 * route forgets it. */
int apart_past_forget(struct store *store, const char *field, const char *was, struct error *err);

#endif
