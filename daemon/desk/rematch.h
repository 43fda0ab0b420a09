/* Matching complaints again whose lot is not exact, because records came or changed since. Where
 * one that speaks of harm, or may, gets another lot or case, the urgent address is told where it is
 * now; of all others their rankings tell. */
#ifndef ODDLOAF_DESK_REMATCH_H
#define ODDLOAF_DESK_REMATCH_H

#include "desk/desk.h"
#include "store/writer.h"

/* A walk over all such complaints, in slices, so that nothing else has to wait for it. */
struct rematch {
    const struct desk *desk;
    struct writer *writer;
    int64_t since_ms; /* of those received since */
    /* kept from slice to slice, 0 at first */
    int64_t after_id;
    bool through;
    int64_t seen, placed; /* complaints looked at, and those given another place */
};

/* The next slice: reads on the caller's store, places in one job of the writer, and waits for it.
 * One that was corrected, joined or withdrawn meanwhile, or cannot be read, stays as it is. On an
 * error the walk has not moved on. */
int rematch_slice(struct rematch *rematch, struct store *store, int64_t now_ms, struct error *err);

#endif
