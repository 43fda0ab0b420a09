/* The two-by-two table: did what carried the factor fail more often than what did not?
 *
 *                  failed   held
 *     with factor     a       b
 *     without         c       d
 *
 * Exact results are conditional on all four margins (R. A. Fisher). Limits are solved to 12 digits;
 * those that common software prints can be off in the third. */
#ifndef ODDLOAF_STATS_TABLE2_H
#define ODDLOAF_STATS_TABLE2_H

#include "stats/conditional.h"
#include "stats/interval.h"
#include "stats/pvalue.h"

struct table2 {
    long a, b, c, d;
};

/* Fisher's exact test of odds ratio 1; `greater` speaks for the factor doing harm.
 * ERROR_INVALID for a negative cell or an empty table. */
int table2_test(const struct table2 *t, struct pvalue *ret);

/* Conditional maximum-likelihood odds ratio with exact and mid-P limits (J. Cornfield, 1956).
 * ERROR_INVALID as above or for a confidence outside (0, 1). */
int table2_odds(const struct table2 *t, double confidence, struct conditional_odds *ret);

struct table2_ratio {
    double ratio;
    struct interval limits;
};

/* Sample odds ratio ad/bc with Woolf's limits on the log scale (B. Woolf, 1955). With an empty
 * cell, or if `add_half`, 1/2 is added to every cell first (Haldane, Anscombe). */
int table2_woolf(const struct table2 *t, double confidence, int add_half, struct table2_ratio *ret);

/* Risk ratio a/(a+b) : c/(c+d) with limits on the log scale (D. Katz et al., 1978). NANs where a
 * row is empty or no failure is in one of them. */
int table2_risk_ratio(const struct table2 *t, double confidence, struct table2_ratio *ret);

/* Pearson's chi-square without continuity correction, 1 degree of freedom; 0 if a margin is 0. */
double table2_chi_square(const struct table2 *t);

/* P(X >= hits) and its mid-P when `drawn` of a population are drawn, `with_factor` of which carry
 * the factor: the enrichment question, the same as `greater` above. */
int table2_enrichment(long population, long with_factor, long drawn, long hits, struct pvalue *ret);

/* Natural log of the Bayes factor for two failure rates against one, uniform priors:
 * log B(a+1,b+1) + log B(c+1,d+1) - log B(a+c+1,b+d+1). */
double table2_log_bayes_factor(const struct table2 *t);

#endif
