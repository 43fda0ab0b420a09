/* Odds ratios of tables with fixed margins: the conditional maximum-likelihood estimate with exact
 * and mid-P limits, for any family of distributions on whole numbers whose weights are
 * w(k) ratio^k. Shared by the single table and by tables in strata. */
#ifndef ODDLOAF_STATS_CONDITIONAL_H
#define ODDLOAF_STATS_CONDITIONAL_H

#include "stats/interval.h"

/* Shares of the distribution below, at and above the outcome, and its mean. */
struct conditional_masses {
    double below, at, above, mean;
};

struct conditional_family {
    void (*masses)(const void *distribution, double log_ratio, struct conditional_masses *ret);
    const void *distribution;
    long outcome, low, high; /* what was seen, and the range it could have taken */
};

struct conditional_odds {
    double ratio; /* conditional ML: 0 or INFINITY at the ends of the range, NAN if low = high */
    struct interval exact;
    struct interval midp;
};

/* `start` is a guess of the log ratio. ERROR_INVALID if the range does not hold the outcome or the
 * confidence is not in (0, 1). */
int conditional_estimate(const struct conditional_family *family, double start, double confidence,
                         struct conditional_odds *ret);

#endif
