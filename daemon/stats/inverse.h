/* Quantiles of the gamma and beta distributions over the full range that complaints per million
 * units need. GSL's own beta and gamma inverses fail, some silently, for shapes below about 0.2
 * and for denominators near a million; these solve GSL's distribution functions (which are sound)
 * by safeguarded Newton steps in log x. NAN for arguments outside the domain. */
#ifndef ODDLOAF_STATS_INVERSE_H
#define ODDLOAF_STATS_INVERSE_H

/* x with P(X <= x) = p (or P(X > x) = q) for X ~ Gamma(shape), scale 1. */
double inverse_gamma_p(double p, double shape);
double inverse_gamma_q(double q, double shape);

/* x with P(X <= x) = p (or P(X > x) = q) for X ~ Beta(a, b). Near 1 the complement carries the
 * digits: `ret_complement`, unless NULL, gets 1 - x without cancellation. */
double inverse_beta_p(double p, double a, double b, double *ret_complement);
double inverse_beta_q(double q, double a, double b, double *ret_complement);

/* z with P(Z <= z) = 1 - q, Z standard normal. */
double inverse_normal_q(double q);

#endif
