/* Joining a report to the complaint it repeats, and separating it again. Nothing typed is lost: the
 * report is kept whole beside the complaint (store/joined.h), which then says what both said
 * (intake/report.h) and still counts as one. All functions but the _json ones run in the writer's
 * transaction; what they refuse, they refuse before writing anything; where the store fails later,
 * the caller takes back what was written. */
#ifndef ODDLOAF_DESK_JOINING_H
#define ODDLOAF_DESK_JOINING_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "store/complaint_place.h"

/* A report that comes with same_as. `report`: what complaint_log() would be given; only what the
 * report itself says is read. *ret names the complaint it was joined to. The same uuid again
 * changes nothing. ERROR_INVALID (field same_as): no such complaint, one
 * that is withdrawn, not of the same kind, or, unless the form says "anyway", of another lot: both
 * codes were read whole. */
int joining_log(const struct desk *desk, struct store *store, const struct complaint_form *form,
                const struct complaint_new *report, struct complaint_placed *ret,
                struct error *err);
struct joining_pair {
    const char *uuid;    /* the complaint that is a report of the same … */
    const char *same_as; /* … as this one, which stays */
    bool anyway;         /* though two codes were read whole, of two lots */
    bool unseen;         /* by who asks (store/seen.h): there is no such complaint to join to */
};
/* One that was logged as a complaint of its own; `why` is put on record. ERROR_NOT_FOUND,
 * ERROR_INVALID; ERROR_CONFLICT also if either is withdrawn. */
int joining_join(const struct desk *desk, struct store *store, const struct joining_pair *pair,
                 const struct complaint_why *why, struct complaint_placed *ret, struct error *err);
/* A joined report becomes a complaint of its own again. ERROR_NOT_FOUND if it is not joined. */
int joining_separate(const struct desk *desk, struct store *store, const char *uuid,
                     const struct complaint_why *why, struct complaint_placed *ret,
                     struct error *err);

/* The complaint a report is joined to: its uuid; null if it is joined to none. New reference. */
json_t *joining_of_json(struct store *store, const char *uuid);
/* The reports joined to a complaint, what each brought and where it differs:
 * [{"complaint","received_at","channel","said","brought","differs"}]. `desk`: with "contact".
 * *ret_first (may be NULL): what the complaint said by itself. New references. */
json_t *joining_reports_json(struct store *store, const struct tz *tz, int64_t complaint_id,
                             bool desk, json_t **ret_first);
/* Those of a whole case in brief: [{"complaint","same_as","received_at"}]. */
json_t *joining_case_json(struct store *store, const struct tz *tz, int64_t case_id);

#endif
