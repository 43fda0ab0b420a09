/* The beta distribution function for shapes up to about 1e9. GSL's is sound for shapes below 1e5
 * (relative error 1e-12); beyond, it switches to an approximation or gives up, so there this sums
 * the continued fraction itself. */
#ifndef ODDLOAF_STATS_BETA_H
#define ODDLOAF_STATS_BETA_H

/* P(X <= x) and P(X > x), X ~ Beta(a, b). `complement` is 1 - x, given apart because near 1 only
 * it has digits. NAN outside the domain. */
double beta_lower(double x, double complement, double a, double b);
double beta_upper(double x, double complement, double a, double b);
double beta_log_density(double x, double complement, double a, double b);

#endif
