/* Correcting a complaint, or a report joined to one, withdrawing one and bringing it back. Nothing
 * is deleted: every change is put on record (store/change.h) with who, when, what it was and why.
 * Everything runs in the writer's transaction; what is refused is refused before anything is
 * written, or leaves nothing behind. */
#ifndef ODDLOAF_DESK_CORRECTING_H
#define ODDLOAF_DESK_CORRECTING_H

#include "desk/desk.h"
#include "store/complaint_place.h"

struct correcting {
    const char *uuid;         /* of a complaint, or of a report joined to one */
    struct complaint_why why; /* by: who, as it is put on record */
    /* correcting_apply(): {"packs":2, "observed/colour":"yellow", "lot_text":null}, null: not
     * known. Names are those of intake/fields.h, a point does for the slash. */
    const json_t *fields;
    bool shown; /* `changed` as it was said: for the desk */
    /* results; the caller drops the references */
    json_t *changed; /* [{"field","was","is"}]; empty: it was so before */
    json_t *taken;   /* what a corrected note gave: intake/lexicon.h; may be NULL */
    json_t *faults;  /* all faults of what was given; may be NULL */
    json_t *harm;    /* what it says of harm now; NULL none */
    bool harm_possible;
    bool harm_came; /* the change brought it: an urgent mail was queued */
    struct complaint_placed placed;
};

/* Values are checked as those of a new complaint. A note that is corrected is read again: what the
 * old one gave goes unless somebody else said it, what the new one gives comes, and what is
 * corrected with it stands. Its lot, case, counts and rankings follow; harm that is new, and harm
 * that is taken back, goes to the urgent address. ERROR_NOT_FOUND; ERROR_INVALID with the fields;
 * ERROR_CONFLICT of one that is withdrawn, or the last of a settled case it would leave. */
int correcting_apply(const struct desk *desk, struct store *store, struct correcting *c,
                     struct error *err);
/* It counts nowhere from now on; or, with `undo`, again, and is placed by the records as they are
 * now. ERROR_NOT_FOUND; ERROR_CONFLICT of a joined report, or the last of a settled case. */
int correcting_withdraw(const struct desk *desk, struct store *store, struct correcting *c,
                        bool undo, struct error *err);

#endif
