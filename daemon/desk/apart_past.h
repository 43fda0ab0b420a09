/* What was put on record and mailed of a report before all of its contact data was known. */
#ifndef ODDLOAF_DESK_APART_PAST_H
#define ODDLOAF_DESK_APART_PAST_H

#include "desk/apart_row.h"
#include "desk/desk.h"
#include "store/complaint.h"
#include "store/entry.h"

/* Masks what `caller` (as a contact) is in: the reasons, texts that were and are of its changes
 * (store/change.h; the texts, as they were said, are kept in `row`, to be written by whoever
 * calls), what is kept of the mails that told of it (store/outbox.h), and what the plant wrote of
 * its case and lot (store/noted.h). In the writer's transaction. */
int apart_past_mask(const struct desk *desk, struct store *store, const struct entry_report *report,
                    const json_t *caller, struct apart_row *row, struct error *err);
/* After a complaint whose texts are masked got a case and a lot: by all who reported it, what the
 * plant wrote of those before, and the mails that quote it. */
int apart_past_written(const struct desk *desk, struct store *store,
                       const struct complaint_placed *placed, struct error *err);

/* A field of a report (intake/fields.h) said `was` and is masked now: what is counted by store and
 * route forgets it. */
int apart_past_forget(struct store *store, const char *field, const char *was, struct error *err);

#endif
