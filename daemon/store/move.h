/* Inside store/ only: the one way in which a complaint's standing changes, be it logged, joined or
 * separated, moved to another lot, corrected, withdrawn or brought back. All that is counted of
 * complaints hangs on it: their case's totals, the counts by week (store/pattern.h) and those by
 * lot (store/company_count.h).
 *
 * A change is a bracket: move_begin() takes the complaint out of all counts, the caller writes its
 * row (or deletes it), move_end() says whose plant's it and its case are (PLANT_OF_COMPLAINT) and
 * counts it by what the row says then. There are no triggers: what
 * changes a complaint, a case or a lot beside this bracket, pattern_*() and record_write() is found
 * by `oddloaf status --recount`. */
#ifndef ODDLOAF_STORE_MOVE_H
#define ODDLOAF_STORE_MOVE_H

#include "base/uuid.h"
#include "store/lot_state.h"
#include "store/store.h"

/* Whose a complaint is, "" if that is not known: its lot's; the lot open, the one named with it, or
 * the one that all its candidates share. All of a case are one plant's: it is of one lot, or of one
 * complaint. */
#define PLANT_OF_COMPLAINT(c)                                                                      \
    "coalesce((SELECT l.plant FROM lot l WHERE l.id = " c ".lot_id), " c ".plant_said,"            \
    " (SELECT CASE WHEN min(l.plant) = max(l.plant) THEN max(l.plant) END FROM complaint_lot w"    \
    " JOIN lot l ON l.id = w.lot_id WHERE w.complaint_id = " c ".id), '')"
/* A lot is another plant's now: so are the complaints on it and their cases, and those it may be
 * about. Between pattern_count_lot() both ways. */
int move_lot_plant(struct store *store, int64_t lot_id, struct error *err);

/* Where a complaint stands, and what its case counts of it. */
struct move_place {
    int64_t case_id, lot_id, received_ms;
    bool owned; /* the plant in its row is the one it has */
    int packs;
    bool harm, withdrawn;
    enum lot_state state;
    char symptom[16], uuid[UUID_TEXT];
};
struct move {
    int64_t complaint_id;
    bool was_there;        /* false: it is new */
    const char *ranked_as; /* the work that follows (work.h); NULL: WORK_RANK */
    struct move_place was; /* if it was there */
};

/* ERROR_NOT_FOUND if there is no such complaint. */
int move_begin(struct store *store, int64_t complaint_id, struct move *ret, struct error *err);
/* Of a complaint whose row has just been written. */
struct move move_of_new(int64_t complaint_id);
/* Queues the ranking of the case it is in, of the one it left, and of cases that count it among the
 * company's complaints. A case that is left empty has
 * moved to `moved_to`, or, if that is 0, to the case the complaint is in now; a complaint deleted
 * or withdrawn without a `moved_to` leaves it empty. */
int move_end(struct store *store, const struct move *move, int64_t moved_to, int64_t rank_ms,
             struct error *err);

#endif
