/* What the parts of correcting share: finding what is corrected (correcting_find.c), reading its
 * note again (correcting_note.c), putting on record what differs (correcting_record.c), writing it
 * (correcting.c), withdrawing (correcting_withdraw.c), and what was written beside it
 * (correcting_spoken.c). */
#ifndef ODDLOAF_DESK_CORRECTING_INSIDE_H
#define ODDLOAF_DESK_CORRECTING_INSIDE_H

#include "desk/anew.h"
#include "desk/apart.h"
#include "desk/apart_row.h"
#include "desk/correcting.h"
#include "intake/complaint_form.h"
#include "intake/fields.h"

/* One being corrected. */
struct correcting_work {
    const struct desk *desk;
    struct store *store;
    struct correcting *c;
    struct anew found;           /* the complaint it is, or that it is joined to */
    json_t *stored;              /* what it says by itself, as it is kept: desk/apart.h */
    json_t *own;                 /* the same as it was said, with contact data */
    json_t *said;                /* the same, corrected */
    struct complaint_form *form; /* of `said`, as it is to be kept */
    struct apart apart;          /* what is kept apart of it */
    struct apart_row kept;       /* who called, and texts as they were said */
    json_t *contact;             /* as it was, NULL none; borrowed from kept */
    struct complaint_why why;    /* its reason without contact data */
    char *reason;
};

/* Fills found, stored, own, kept, contact and the masked reason of `w`, of which desk, store, c and
 * why are set; `c` has no results then. */
int correcting_find(struct correcting_work *w, struct error *err);
void correcting_clear(struct correcting_work *w);
/* The report's id as contacts are kept by: "" of the complaint itself. */
const char *correcting_report(const struct correcting_work *w);
/* No contact data of that contact in the reason. */
void correcting_mask_reason(struct correcting_work *w, const json_t *contact);
/* A verdict must not be left standing on a case without complaints: ERROR_CONFLICT. */
int correcting_check_left(struct store *store, int64_t case_id, struct error *err);
/* Harm that only the reason of the change speaks of. */
int correcting_hear(struct correcting_work *w, const char *where, struct error *err);
/* It may have been harm and is said to be none, or counts no more: the urgent mail, if what was
 * written beside it (desk/spoken.h) says harm. `what`: "a correction says that nobody was hurt". */
int correcting_tell_spoken(struct correcting_work *w, const char *what, struct error *err);
/* Sets harm and harm_possible of `c`, for the answer, to what `body` says. Once. */
void correcting_say_harm(struct correcting *c, const json_t *body);

/* Puts what was given into `said`. What cannot be is among c->faults, the first in `err` (not
 * NULL), whose code is answered. */
int correcting_set(struct correcting_work *w, json_t *said, struct error *err);
/* If its note, or a return's reason, is another now: what the old one gave goes from w->said, and
 * what the new one gives comes. */
int correcting_read_note(struct correcting_work *w, struct error *err);
/* The field of that name, with a point or a slash; NULL if there is none. */
const struct field *correcting_field(const char *name);

/* What was sent in the first place. New reference in *ret, NULL if that is kept no more. */
void correcting_sent(const struct correcting_work *w, json_t **ret);
/* Every field that differs is put on record, and told in c->changed. */
int correcting_record(struct correcting_work *w, struct error *err);

#endif
