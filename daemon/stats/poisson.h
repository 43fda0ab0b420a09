/* Counts over an exposure (complaints over million units): limits, tests, ratios. Exact.
 *
 * Every limit is two-sided with the stated confidence (0.95: 2.5 % on each side). Limits are of the
 * expected count; divide by the exposure for a rate. No error handler of GSL is touched. */
#ifndef ODDLOAF_STATS_POISSON_H
#define ODDLOAF_STATS_POISSON_H

#include "stats/interval.h"
#include "stats/pvalue.h"

/* Exact limits: low = chi2inv(a/2; 2x)/2, high = chi2inv(1-a/2; 2x+2)/2, low = 0 for x = 0.
 * F. Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936) 437-442.
 * `count` may be a fraction (complaints weighted over candidate lots). NANs for a negative count
 * or a confidence outside (0, 1). */
struct interval poisson_limits(double count, double confidence);

struct poisson_ratio {
    double ratio;          /* (x1/t1) / (x2/t2); INFINITY if x2 = 0, NAN if both are 0 */
    struct interval exact; /* conditional: Clopper-Pearson on x1 of x1 + x2 */
    struct interval midp;
    struct interval wald; /* exp(log ratio -+ z sqrt(1/x1 + 1/x2)); NANs if a count is 0 */
    struct pvalue p;      /* of ratio 1; `greater` speaks for rate 1 above rate 2 */
};

/* Two counts over two exposures, conditional on their sum: x1 ~ Binomial(x1 + x2, q) with
 * q = t1 R / (t1 R + t2) (J. Przyborowski & H. Wilenski, Biometrika 31 (1940) 313-323).
 * ERROR_INVALID for negative counts or exposures that are not positive. */
int poisson_compare(long x1, double t1, long x2, double t2, double confidence,
                    struct poisson_ratio *ret);

#endif
