/* Chain ladder with Mack's standard error: what a run-off triangle will amount to, without any
 * distribution assumed (T. Mack, "Distribution-free calculation of the standard error of chain
 * ladder reserve estimates", ASTIN Bulletin 23 (1993) 213-225). For weighty amounts (units
 * returned, money); for small counts delay.h is the better tool. */
#ifndef ODDLOAF_STATS_MACK_H
#define ODDLOAF_STATS_MACK_H

#include <stddef.h>

enum { MACK_MOST = 64 };

struct mack {
    size_t n;
    double factor[MACK_MOST];   /* n - 1 of them: development from k to k + 1 */
    double sigma2[MACK_MOST];   /* n - 1; the last by Mack's rule min(s^4/r^2, min(r^2, s^2)) */
    double ultimate[MACK_MOST]; /* n, oldest period first */
    double reserve[MACK_MOST];  /* ultimate - latest */
    double se[MACK_MOST];       /* of the reserve */
    double total_reserve, total_se;
};

/* incremental[i * n + k]: period i, development k; known for i + k < n. ERROR_INVALID for n < 3 or
 * beyond MACK_MOST, non-finite values, or a column whose cumulative sum is not positive. */
int mack_fit(const double *incremental, size_t n, struct mack *ret);

#endif
