/* Whether a level is commoner among the lots that failed: two-by-two tables in weekly strata, exact
 * where that is affordable. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_TEST_H
#define ODDLOAF_PATTERNS_TRACE_TEST_H

#include "patterns/trace_lots.h"
#include "stats/interval.h"

struct trace_odds {
    double ratio; /* common to the strata; INFINITY, NAN possible */
    struct interval limits;
    double p; /* one-sided mid-P of harm */
    bool exact;
};

struct trace_result {
    size_t level; /* index into the lots' levels */
    long failed_exposed, failed, other_exposed, other;
    struct trace_odds odds;
    double q; /* odds.p adjusted over all levels tested */
    bool has_rest;
    struct trace_odds rest; /* with the first result's level held fixed: what it leaves to this */
};

/* Tests every level that can tell anything: on two lots or more, not on all lots or none of every
 * week. Of levels on exactly the same lots the first is tested (trace_level.same names it for the
 * others). malloc'd, most significant first. */
int trace_test_all(struct trace_lots *t, struct trace_result **ret, size_t *ret_count,
                   struct error *err);
/* Brings a level to place `at` of the results, the others in their order behind it, under its own
 * name if another on the same lots was tested; one that could not be tested is added with no odds
 * and p 1. Returns the next place: `at` again of a level that stands before it. */
size_t trace_test_lead(struct trace_lots *t, struct trace_result *results, size_t *count, size_t at,
                       size_t level);
/* Sets `rest` of the foremost results behind the first: within the lots with its level, and those
 * without. */
void trace_test_beside(const struct trace_lots *t, struct trace_result *results, size_t count);

#endif
