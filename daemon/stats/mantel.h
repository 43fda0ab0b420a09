/* Two-by-two tables in strata (weeks, say): one common odds ratio with what differs between the
 * strata taken out. Strata in which a margin is empty say nothing and are passed over. */
#ifndef ODDLOAF_STATS_MANTEL_H
#define ODDLOAF_STATS_MANTEL_H

#include <stddef.h>

#include "stats/conditional.h"
#include "stats/interval.h"
#include "stats/pvalue.h"

/* Did what carried the factor fail more often than what did not?
 *
 *                  failed   held
 *     with factor     a       b
 *     without         c       d
 */
struct mantel_table {
    long a, b, c, d;
};

struct mantel {
    double observed, expected, variance; /* sums of a over informative strata */
    double chi_square, p;                /* without continuity correction, 1 df */
    double chi_square_corrected, p_corrected;
    double odds_ratio; /* Mantel-Haenszel; INFINITY or NAN when its sums vanish */
    double log_se;     /* of its log (J. Robins, N. Breslow & S. Greenland, Biometrics 42 (1986)) */
    struct interval limits;
    double risk_ratio;                 /* Mantel-Haenszel */
    struct interval risk_limits;       /* S. Greenland & J. Robins, Biometrics 41 (1985) */
    double breslow_day, breslow_day_p; /* homogeneity of odds ratios, without Tarone's term */
    size_t strata;                     /* informative ones */
};

/* N. Mantel & W. Haenszel, "Statistical aspects of the analysis of data from retrospective studies
 * of disease", Journal of the National Cancer Institute 22 (1959) 719-748. ERROR_INVALID for a
 * negative cell, a confidence outside (0, 1), or no informative stratum. */
int mantel_test(const struct mantel_table *strata, size_t n, double confidence, struct mantel *ret);

/* The same exactly: convolution of the strata's hypergeometric distributions. Time and memory grow
 * with the product of summed ranges; ERROR_TOO_LARGE if the joint range exceeds 20000.
 * `ret_p` gets the p-values, `ret_odds` the conditional estimate with limits; either may be NULL.
 */
int mantel_exact(const struct mantel_table *strata, size_t n, double confidence,
                 struct pvalue *ret_p, struct conditional_odds *ret_odds);

#endif
