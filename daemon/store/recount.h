/* Counts that are kept beside what they count, counted again. Reads only; on a large store it takes
 * as long as reading every complaint. */
#ifndef ODDLOAF_STORE_RECOUNT_H
#define ODDLOAF_STORE_RECOUNT_H

#include "store/store.h"

/* How many kept counts differ from what is there: 0 everywhere, or somebody has a fault to find. */
struct recount {
    int64_t weeks;   /* counts by week (store/pattern.h) */
    int64_t cases;   /* cases whose complaints, packs, harm or state are not by their complaints */
    int64_t company; /* complaints by lot, as the ranking's company evidence has them */
    int64_t materials; /* first uses of lots of materials (store/material_first.h) */
};

/* Inside a transaction, so that one state of the store is counted. */
int recount(struct store *store, struct recount *ret, struct error *err);

#endif
