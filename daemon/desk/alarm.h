/* Telling QA at once what somebody did to a complaint: harm that only a correction speaks of, harm
 * that was taken back, a case that was left without complaints. In the writer's transaction. */
#ifndef ODDLOAF_DESK_ALARM_H
#define ODDLOAF_DESK_ALARM_H

#include "desk/desk.h"
#include "store/complaint_place.h"

/* All borrowed. */
struct alarm {
    const struct desk *desk;
    const struct complaint_placed *placed;
    int64_t case_was;
    const struct complaint_why *why;
    const char *what;         /* "a correction says so": stands before who and why */
    const json_t *body;       /* what it says */
    const json_t *contact;    /* masked in it; NULL none */
    const json_t *heard;      /* kinds of it that no person told: read from words; NULL: none */
    bool *gathered;           /* set: it waits for others of the case; NULL: not asked */
    const json_t *taken_back; /* words of harm that are said no more; NULL: `body` says harm */
    bool at_once;             /* it never waits for others of the case */
};

/* The urgent mail; a settled case is open again for what it tells. */
int alarm_queue(struct store *store, const struct alarm *alarm, struct error *err);
/* Mail to QA if the case they were told of has no complaint left, or, with `back`, has one again.
 */
int alarm_case_emptied(struct store *store, const struct alarm *alarm, bool back,
                       struct error *err);

#endif
