#include "stats/beta.h"

#include <assert.h>
#include <float.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

#define GSL_SOUND_BELOW 1e5
#define MAX_TERMS 2000000
#define TINY 1e-300

double beta_log_density(double x, double complement, double a, double b)
{
    double log_x = x < 0.5 ? log(x) : log1p(-complement);
    double log_rest = x < 0.5 ? log1p(-x) : log(complement);
    return (a - 1.0) * log_x + (b - 1.0) * log_rest - gsl_sf_lnbeta(a, b);
}

/* NIST Digital Library of Mathematical Functions 8.17.22, evaluated by Lentz's method; takes about
 * sqrt(max(a, b)) terms for x below (a + 1) / (a + b + 2). */
static double fraction(double x, double a, double b)
{
    assert(a > 0 && b > 0 && x >= 0 && x <= 1);
    double c = 1.0, d = 1.0 - (a + b) * x / (a + 1.0);
    d = 1.0 / (fabs(d) < TINY ? TINY : d);
    double value = d;
    for (int m = 1; m <= MAX_TERMS; m++) {
        double even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        double odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 + even * d;
        c = 1.0 + even / c;
        d = 1.0 / (fabs(d) < TINY ? TINY : d);
        c = fabs(c) < TINY ? TINY : c;
        value *= d * c;
        d = 1.0 + odd * d;
        c = 1.0 + odd / c;
        d = 1.0 / (fabs(d) < TINY ? TINY : d);
        c = fabs(c) < TINY ? TINY : c;
        value *= d * c;
        if (fabs(d * c - 1.0) < 4.0 * DBL_EPSILON)
            return value;
    }
    return NAN;
}

static double small_side(double x, double complement, double a, double b)
{
    assert(x > 0 && complement > 0);
    return exp(beta_log_density(x, complement, a, b)) * x * complement / a * fraction(x, a, b);
}

static double large_shapes(double x, double complement, double a, double b)
{
    if (x <= (a + 1.0) / (a + b + 2.0))
        return small_side(x, complement, a, b);
    return 1.0 - small_side(complement, x, b, a);
}

double beta_lower(double x, double complement, double a, double b)
{
    if (!(a > 0) || !(b > 0) || isnan(x) || isnan(complement))
        return NAN;
    if (x <= 0)
        return 0.0;
    if (complement <= 0)
        return 1.0;
    if (fmax(a, b) < GSL_SOUND_BELOW)
        return x <= 0.5 ? gsl_cdf_beta_P(x, a, b) : gsl_cdf_beta_Q(complement, b, a);
    return large_shapes(x, complement, a, b);
}

double beta_upper(double x, double complement, double a, double b)
{
    return beta_lower(complement, x, b, a);
}
