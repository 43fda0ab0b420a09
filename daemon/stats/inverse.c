#include "stats/inverse.h"

#include <assert.h>
#include <float.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>

#include "stats/beta.h"

/* One search: the log of the wanted tail at u = log x, and its slope. */
struct tail {
    double a, b; /* gamma: shape, unused; beta: both shapes */
    bool upper;  /* target is the upper tail */
    double log_target;
    double log_norm;
    double (*probability)(const struct tail *t, double x);
    double (*log_density)(const struct tail *t, double x);
};

static double gamma_tail(const struct tail *t, double x)
{
    return t->upper ? gsl_cdf_gamma_Q(x, t->a, 1.0) : gsl_cdf_gamma_P(x, t->a, 1.0);
}

static double gamma_log_density(const struct tail *t, double x)
{
    return (t->a - 1.0) * log(x) - x - t->log_norm;
}

static double beta_tail(const struct tail *t, double x)
{
    return t->upper ? beta_upper(x, 1.0 - x, t->a, t->b) : beta_lower(x, 1.0 - x, t->a, t->b);
}

static double beta_slope(const struct tail *t, double x)
{
    return beta_log_density(x, 1.0 - x, t->a, t->b);
}

/* Newton in u = log x on log(tail) - log(target), falling back to halving [low, high]. */
static double search(const struct tail *t, double u, double low, double high)
{
    assert(t->log_target <= 0 && t->probability && t->log_density);
    for (int i = 0; i < 400; i++) {
        if (!(u > low && u < high))
            u = 0.5 * (low + high);
        double x = exp(u);
        double probability = t->probability(t, x);
        if (isnan(probability))
            return NAN;
        double difference = log(probability) - t->log_target; /* -inf at 0 is fine */
        bool too_far = t->upper ? difference < 0 : difference > 0;
        if (too_far)
            high = u;
        else
            low = u;
        double slope = exp(t->log_density(t, x) + u) / probability;
        double step = isfinite(difference) && slope > 0 ? difference / slope : INFINITY;
        if (fabs(step) <= 32.0 * DBL_EPSILON * fmax(1.0, fabs(u)))
            return x;
        u = t->upper ? u + step : u - step;
        if (high - low <= 4.0 * DBL_EPSILON * fmax(1.0, fabs(low)))
            break;
    }
    return exp(u);
}

static bool valid(double probability, double a, double b)
{
    return probability >= 0 && probability <= 1 && a > 0 && b > 0 && isfinite(a) && isfinite(b);
}

/* Wilson-Hilferty: the cube root of a gamma variable is nearly normal. */
static double gamma_guess(double z, double shape)
{
    double c = 1.0 - 1.0 / (9.0 * shape) + z / (3.0 * sqrt(shape));
    return c > 0.05 ? log(shape * c * c * c) : NAN;
}

static double gamma_inverse(double probability, double shape, bool upper)
{
    if (!valid(probability, shape, 1.0))
        return NAN;
    if (probability == (upper ? 1.0 : 0.0))
        return 0.0;
    if (probability == (upper ? 0.0 : 1.0))
        return INFINITY;
    struct tail t = {.a = shape, .upper = upper, .log_target = log(probability)};
    t.probability = gamma_tail;
    t.log_density = gamma_log_density;
    t.log_norm = gsl_sf_lngamma(shape);
    /* far down the lower tail P(x) = x^a / Gamma(a+1) is exact to order x */
    double log_lower = upper ? log1p(-probability) : t.log_target;
    double first = (log_lower + gsl_sf_lngamma(shape + 1.0)) / shape;
    if (first < log(DBL_EPSILON))
        return exp(first);
    double z = upper ? gsl_cdf_ugaussian_Qinv(probability) : gsl_cdf_ugaussian_Pinv(probability);
    double guess = gamma_guess(z, shape);
    double top = log(shape + 40.0 * sqrt(shape) + 800.0);
    return search(&t, isnan(guess) ? first : guess, log(DBL_EPSILON) - 2.0, top);
}

double inverse_gamma_p(double p, double shape)
{
    return gamma_inverse(p, shape, false);
}

double inverse_gamma_q(double q, double shape)
{
    return gamma_inverse(q, shape, true);
}

/* x below the mean of Beta(a, b) or near it: the searched end is the one with the digits. */
static double beta_small_end(double probability, double a, double b, bool upper)
{
    assert(probability > 0 && probability < 1 && a > 0 && b > 0);
    struct tail t = {.a = a, .b = b, .upper = upper, .log_target = log(probability)};
    t.probability = beta_tail;
    t.log_density = beta_slope;
    t.log_norm = gsl_sf_lnbeta(a, b);
    double log_lower = upper ? log1p(-probability) : t.log_target;
    double first = (log_lower + log(a) + t.log_norm) / a; /* P(x) = x^a / (a B(a,b)) near 0 */
    if (first < log(DBL_EPSILON) - log(a + b))
        return exp(first);
    double z = upper ? gsl_cdf_ugaussian_Qinv(probability) : gsl_cdf_ugaussian_Pinv(probability);
    double guess =
        gamma_guess(z, a) - log(b + 0.5 * (a - 1.0)); /* Beta(a,b) ~ Gamma(a)/b, b large */
    return search(&t, isnan(guess) ? first : guess, fmin(first, guess) - 50.0, 0.0);
}

static double beta_inverse(double probability, double a, double b, bool upper, double *complement)
{
    double ignored;
    double *rest = complement ? complement : &ignored;
    *rest = NAN;
    if (!valid(probability, a, b))
        return NAN;
    if (probability == 0 || probability == 1) {
        bool at_zero = upper ? probability == 1 : probability == 0;
        *rest = at_zero ? 1.0 : 0.0;
        return 1.0 - *rest;
    }
    double at_half = beta_lower(0.5, 0.5, a, b);
    if (isnan(at_half))
        return NAN;
    bool below_half = upper ? 1.0 - probability <= at_half : probability <= at_half;
    if (below_half) {
        double x = beta_small_end(probability, a, b, upper);
        *rest = 1.0 - x;
        return x;
    }
    *rest = beta_small_end(probability, b, a, !upper);
    return 1.0 - *rest;
}

double inverse_beta_p(double p, double a, double b, double *ret_complement)
{
    return beta_inverse(p, a, b, false, ret_complement);
}

double inverse_beta_q(double q, double a, double b, double *ret_complement)
{
    return beta_inverse(q, a, b, true, ret_complement);
}

double inverse_normal_q(double q)
{
    return gsl_cdf_ugaussian_Qinv(q);
}
