/* What is done to follow a case up: it is weighed by the rules (rules/severity.h), a person owns
 * it, sets its day or its severity, notes, and answers who called. What the rules move is on record
 * as what people move is. All that changes runs in the writer's transaction. */
#ifndef ODDLOAF_DESK_FOLLOWING_H
#define ODDLOAF_DESK_FOLLOWING_H

#include "desk/desk.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/store.h"

/* Severity anew, whenever the case is ranked: of what is on record, as of its newest complaint. The
 * first time it is given its day; later the day only comes nearer, when the severity rises (then
 * one that a person set lower ends). While bread of its lot is on sale, and its cause lies in that
 * bread or harm is spoken of, the day is no later than the lot's best-by date, unless a person set
 * it. Callers of a severe case are put on the list of who is to be
 * called back. `may_harm`: words of it may mean harm. Nothing to do for a case without complaints.
 */
int following_weigh(const struct desk *desk, struct store *store, int64_t case_id, bool may_harm,
                    int64_t now_ms, struct error *err);
/* A verdict was taken back: its day is counted anew. */
int following_reopened(const struct desk *desk, struct store *store, int64_t case_id,
                       int64_t now_ms, struct error *err);

/* Who does it: as signed, and as the daemon knows them. */
struct following_who {
    const char *by, *user;
    int64_t at_ms;
};
/* What a person changes; texts are borrowed and without contact data. */
struct following_change {
    int64_t case_id;
    struct following_who who;
    const char *owner;     /* NULL: stays; "": nobody */
    bool due, severity;    /* are they changed? */
    int32_t due_day;       /* WHEN_UNKNOWN_DAY: none */
    int set_to;            /* FOLLOW_NOT_SET: as the rules weigh it */
    const char *reason;    /* of due and severity; NULL */
    const char *note;      /* NULL */
    const char *report;    /* uuid of whom the call is about; NULL */
    int32_t call_back_day; /* WHEN_UNKNOWN_DAY: not asked for */
    const char *call_back_why;
    const char *answered; /* what was said to the caller; NULL */
    int64_t answered_ms;
};
/* ERROR_CONFLICT, the text says what is so: owner, day or severity of a settled case, less than
 * urgent or no day beside harm, without a reason a day that is over or one later than the rules
 * would give while bread is on sale, a caller nobody knows. */
int following_change(const struct desk *desk, struct store *store,
                     const struct following_change *change, struct error *err);

/* The report that is meant where none is named: of who waits to be called back, or of the only one
 * who reported. ERROR_CONFLICT if it may be several. */
int following_report(struct store *store, const struct case_row *row, char *out, size_t size,
                     struct error *err);

/* "severity", "owner", "due" and "overdue" of a case; nothing of one that was not weighed yet.
 * `harm`: it is reported, and urgent even if it came a moment ago. */
void following_case_json(const struct follow_row *row, bool harm, int32_t today, json_t *into);

/* Cases of a plant, or all, overdue on that day, the most severe and longest overdue first:
 * [{"case","symptom", "severity","harm","owner","due","days","complaints","lot","line"}], at most
 * so many, and how many there are. New reference. */
int following_overdue_json(struct store *store, const struct follow_late *of, json_t **ret,
                           int64_t *ret_count, struct error *err);

/* Who looks: the desk alone sees who called, and no working by a ranking. */
struct following_view {
    int64_t now_ms;
    bool shown; /* contact data */
    bool plain; /* without working */
};
/* {"case","symptom","state",…,"severity","sold_until","working","entries","call_backs"}; of a plant
 * in another zone than the company's also "today", the day there. New reference. */
int following_json(const struct desk *desk, struct store *store, int64_t case_id,
                   const struct following_view *view, json_t **ret, struct error *err);

#endif
