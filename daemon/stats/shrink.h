/* Relative rates drawn towards what is usual: gamma-Poisson (empirical Bayes) shrinkage.
 *
 * Observed O ~ Poisson(theta E), theta ~ Gamma(shape, rate): the posterior is
 * Gamma(shape + O, rate + E), its mean (O + shape) / (E + rate). theta = 1 means "as expected".
 * With an exposure in place of E, theta is the rate per unit of exposure. O may be a fraction.
 * E is an expectation *given what was sold and how much of its reporting time has passed*. */
#ifndef ODDLOAF_STATS_SHRINK_H
#define ODDLOAF_STATS_SHRINK_H

#include <stddef.h>

#include "stats/interval.h"

struct shrink_gamma {
    double shape, rate;
};

/* Where the sample shows no spread beyond Poisson, a fit returns this shape rather than infinity:
 * everything is then drawn all the way to the mean. */
#define SHRINK_SHAPE_MOST 1e6

/* One-step weighted moments (R. J. Marshall, "Mapping disease and mortality rates using empirical
 * Bayes estimators", Applied Statistics 40 (1991) 283-294): m = sum O / sum E,
 * s2 = sum E (O/E - m)^2 / sum E, A = max(0, s2 - m / mean E); shape = m^2/A, rate = m/A. Cheap and
 * stable for few units. ERROR_INVALID for n = 0, negative or non-finite input, O > 0 where E = 0,
 * or nothing observed. */
int shrink_fit_moments(const double *observed, const double *expected, size_t n,
                       struct shrink_gamma *ret);

struct shrink_gamma shrink_posterior(struct shrink_gamma prior, double observed, double expected);
double shrink_mean(struct shrink_gamma g);
/* Equal tails. As a posterior with a fitted prior it is slightly short: the fit's own uncertainty
 * is not in it. */
struct interval shrink_interval(struct shrink_gamma g, double confidence);

/* A gamma distribution by its mean and how sure that is (`shape`: 1/cv^2). */
struct shrink_gamma shrink_gamma_of(double mean, double shape);

/* Log Bayes factor for `raised` against `usual`, both distributions of theta: how much an observed
 * count speaks for this factor being in trouble rather than being its ordinary self. Positive
 * speaks for trouble. Divide by M_LN2 for bits. 0 when E = 0 and O = 0: nothing seen says nothing.
 * O > 0 with E = 0 is impossible under both; then it is judged at the least E it could be of,
 * 1e-6. NAN for negative input. */
double shrink_log_bayes_factor(struct shrink_gamma usual, struct shrink_gamma raised,
                               double observed, double expected);

#endif
