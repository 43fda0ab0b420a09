/* Negative binomial counts: mean mu, size k, variance mu + mu^2/k: Poisson counts whose rate
 * varies as a gamma variable of shape k. size = INFINITY is the Poisson distribution, everywhere.
 */
#ifndef ODDLOAF_STATS_NEGBIN_H
#define ODDLOAF_STATS_NEGBIN_H

#include <stddef.h>

/* `x` may be a fraction in the log density (weighted complaints); -INFINITY where impossible,
 * NAN for arguments outside the domain. */
double negbin_log_pmf(double x, double mean, double size);
double negbin_pmf(long x, double mean, double size);
double negbin_at_most(long x, double mean, double size);   /* P(X <= x) */
double negbin_more_than(long x, double mean, double size); /* P(X > x) */

/* Smallest k with P(X <= k) >= p, or with P(X > k) <= q; -1 outside the domain. */
long negbin_quantile(double p, double mean, double size);
long negbin_quantile_upper(double q, double mean, double size);

#endif
