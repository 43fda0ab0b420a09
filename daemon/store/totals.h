/* How much there is, for status and metrics. */
#ifndef ODDLOAF_STORE_TOTALS_H
#define ODDLOAF_STORE_TOTALS_H

#include "store/store.h"

struct totals {
    int64_t products, lots, readings, complaints, cases_open, cases_settled;
};
int totals_get(struct store *store, struct totals *ret, struct error *err);

#endif
