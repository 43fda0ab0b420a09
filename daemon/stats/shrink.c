#include "stats/shrink.h"

#include <assert.h>
#include <math.h>

#include "base/error.h"
#include "stats/inverse.h"
#include "stats/negbin.h"

#define LEAST_EXPECTED 1e-6

/* Sums of a usable sample; ERROR_INVALID for one that is not. */
static int totals(const double *observed, const double *expected, size_t n, double *ret_observed,
                  double *ret_expected)
{
    double o = 0, e = 0;
    for (size_t i = 0; i < n; i++) {
        if (!(observed[i] >= 0) || !(expected[i] >= 0) || (expected[i] == 0 && observed[i] > 0))
            return ERROR_INVALID;
        o += observed[i];
        e += expected[i];
    }
    if (!(o > 0) || !(e > 0) || !isfinite(o) || !isfinite(e))
        return ERROR_INVALID;
    *ret_observed = o;
    *ret_expected = e;
    return 0;
}

struct shrink_gamma shrink_gamma_of(double mean, double shape)
{
    shape = fmin(shape, SHRINK_SHAPE_MOST);
    return (struct shrink_gamma){.shape = shape, .rate = shape / mean};
}

int shrink_fit_moments(const double *observed, const double *expected, size_t n,
                       struct shrink_gamma *ret)
{
    double o, e;
    if (totals(observed, expected, n, &o, &e) != 0)
        return ERROR_INVALID;
    double m = o / e, spread = 0;
    size_t used = 0;
    for (size_t i = 0; i < n; i++) {
        if (expected[i] == 0)
            continue;
        double off = observed[i] / expected[i] - m;
        spread += expected[i] * off * off;
        used++;
    }
    assert(used > 0); /* some expectation is above 0: their sum is */
    double between = spread / e - m / (e / (double)used);
    *ret = shrink_gamma_of(m, between > 0 ? m * m / between : INFINITY);
    return 0;
}

struct shrink_gamma shrink_posterior(struct shrink_gamma prior, double observed, double expected)
{
    return (struct shrink_gamma){prior.shape + observed, prior.rate + expected};
}

double shrink_mean(struct shrink_gamma g)
{
    assert(g.rate > 0);
    return g.shape / g.rate;
}

struct interval shrink_interval(struct shrink_gamma g, double confidence)
{
    assert(g.rate > 0 && confidence >= 0 && confidence < 1);
    double each = 0.5 * (1.0 - confidence);
    return (struct interval){inverse_gamma_p(each, g.shape) / g.rate,
                             inverse_gamma_q(each, g.shape) / g.rate};
}

/* Log (natural) of the predictive density of O given E: negative binomial, mean E shape/rate, size
 * shape. */
static double log_predictive(struct shrink_gamma prior, double observed, double expected)
{
    return negbin_log_pmf(observed, expected * prior.shape / prior.rate, prior.shape);
}

double shrink_log_bayes_factor(struct shrink_gamma usual, struct shrink_gamma raised,
                               double observed, double expected)
{
    if (!(observed >= 0) || !(expected >= 0))
        return NAN;
    if (expected == 0 && observed == 0)
        return 0.0;
    double e = fmax(expected, LEAST_EXPECTED);
    return log_predictive(raised, observed, e) - log_predictive(usual, observed, e);
}
