/* Whether a level is commoner among the lots that failed: tables in weekly strata, exact where
 * that is affordable. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_TEST_H
#define ODDLOAF_PATTERNS_TRACE_TEST_H

#include "patterns/trace_lots.h"
#include "stats/interval.h"

struct trace_result {
    size_t level; /* index into the lots' levels */
    long failed_exposed, failed, other_exposed, other;
    double odds_ratio; /* common to the weeks; INFINITY, NAN possible */
    struct interval limits;
    double p, q; /* one-sided mid-P of harm; adjusted over all levels tested */
    bool exact;
};

/* Tests every level that can tell anything; malloc'd, most significant first. */
int trace_test_all(const struct trace_lots *t, struct trace_result **ret, size_t *ret_count,
                   struct error *err);

#endif
