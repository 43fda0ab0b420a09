/* Correcting a complaint, or a report joined to one, withdrawing one and bringing it back. Nothing
 * is deleted: every change is put on record (store/change.h) with who, when, what it was and why.
 * Everything runs in the writer's transaction, as a job of its own: of one that is refused the
 * writer keeps nothing. */
#ifndef ODDLOAF_DESK_CORRECTING_H
#define ODDLOAF_DESK_CORRECTING_H

#include "desk/overheard.h"
#include "store/complaint_place.h"

struct correcting {
    const char *uuid;         /* of a complaint, or of a report joined to one */
    struct complaint_why why; /* by: who, as it is put on record */
    /* correcting_apply(): {"packs":2, "observed/colour":"yellow", "lot_text":null}; null, "" and
     * []: not known. Names are those of intake/fields.h, a point does for the slash. Borrowed. */
    const json_t *fields;
    bool shown; /* `changed` as it was said: for the desk */
    /* results; the caller drops the references */
    json_t *changed; /* [{"field","was","is"}] in words, null nothing; of "withdrawn" true and
                        false; empty: it was so before */
    json_t *taken;   /* what a corrected note gave: intake/lexicon.h; may be NULL */
    json_t *faults;  /* all faults of what was given; may be NULL */
    json_t *harm;    /* what it says of harm now; NULL none */
    bool harm_possible;
    bool harm_came;                 /* the change brought it: an urgent mail was queued */
    struct overheard heard;         /* what the reason says of harm */
    struct complaint_placed placed; /* where it stands now; `again`: it was so before */
    bool mail_gathered;             /* that waits for others of the case */
};

/* Values are checked as those of a new complaint. A note that is corrected is read again: what the
 * old one gave goes unless it was said besides (when it was logged, or by a correction since), what
 * the new one gives comes, and what is corrected with it stands. Its lot, case, counts and rankings
 * follow. Harm that is new goes to the urgent address; without any, so does harm that is taken
 * back. ERROR_NOT_FOUND; ERROR_INVALID with the fields; ERROR_CONFLICT of one that is withdrawn, or
 * the last of a settled case it would leave. */
int correcting_apply(const struct desk *desk, struct store *store, struct correcting *c,
                     struct error *err);
/* It counts nowhere from now on; or, with `undo`, again, and is placed by the records as they are
 * now. Harm goes to the urgent address, taken back or said again. ERROR_NOT_FOUND; ERROR_CONFLICT
 * of a joined report, or the last of a settled case. */
int correcting_withdraw(const struct desk *desk, struct store *store, struct correcting *c,
                        bool undo, struct error *err);

#endif
