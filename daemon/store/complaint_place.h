/* Giving a complaint another place among the lots: records came later, or a person corrected it.
 * Runs inside the writer's transaction. */
#ifndef ODDLOAF_STORE_COMPLAINT_PLACE_H
#define ODDLOAF_STORE_COMPLAINT_PLACE_H

#include "store/complaint.h"

struct complaint_why {
    const char *by; /* a person's name, or the program's */
    const char *reason;
    int64_t at_ms;
};

/* Other candidates, another state: moves the complaint to the case it now belongs to and queues the
 * rankings of both. A case of this complaint alone keeps its name and gets the other lot, unless
 * the lot has a case already. A change of lot, state or case is put on record. */
int complaint_place(struct store *store, int64_t complaint_id, const struct complaint_lots *lots,
                    const struct complaint_why *why, struct complaint_placed *ret,
                    struct error *err);

/* A code that two lots bear is exact no more: complaints about the others are matched again. */
int complaint_place_doubt(struct store *store, int64_t lot_id, struct error *err);
/* The receipt of the first complaint that has this lot for a candidate, WHEN_UNKNOWN_MS if none. */
int complaint_place_first(struct store *store, int64_t lot_id, int64_t *ret_ms, struct error *err);

#endif
