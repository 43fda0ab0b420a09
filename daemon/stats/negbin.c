#include "stats/negbin.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>

#include "stats/beta.h"

#define SIZE_MOST 1e8 /* beyond this size the difference to Poisson is lost in rounding */

static bool domain_ok(double mean, double size)
{
    return mean >= 0 && isfinite(mean) && size > 0;
}

/* log [Gamma(k + x) / Gamma(k)]. For large k by Stirling's series, where the difference of two
 * log gammas would lose its digits. */
static double log_rising(double k, double x)
{
    if (x == 0)
        return 0.0;
    if (k < 1e4)
        return gsl_sf_lngamma(x + k) - gsl_sf_lngamma(k);
    return (k - 0.5) * log1p(x / k) + x * log(k + x) - x + (1.0 / (k + x) - 1.0 / k) / 12.0;
}

double negbin_log_pmf(double x, double mean, double size)
{
    if (!domain_ok(mean, size) || isnan(x))
        return NAN;
    if (x < 0)
        return -INFINITY;
    if (mean == 0)
        return x == 0 ? 0.0 : -INFINITY;
    if (size > SIZE_MOST)
        return x * log(mean) - mean - gsl_sf_lngamma(x + 1.0);
    double ways = log_rising(size, x);
    return ways - gsl_sf_lngamma(x + 1.0) - size * log1p(mean / size) -
           (x == 0 ? 0.0 : x * log1p(size / mean));
}

double negbin_pmf(long x, double mean, double size)
{
    return exp(negbin_log_pmf((double)x, mean, size));
}

double negbin_at_most(long x, double mean, double size)
{
    if (!domain_ok(mean, size))
        return NAN;
    if (x < 0)
        return 0.0;
    if (mean == 0 || x > INT_MAX)
        return 1.0;
    if (size > SIZE_MOST)
        return gsl_cdf_poisson_P((unsigned)x, mean);
    return beta_lower(size / (size + mean), mean / (size + mean), size, (double)x + 1.0);
}

double negbin_more_than(long x, double mean, double size)
{
    if (!domain_ok(mean, size))
        return NAN;
    if (x < 0)
        return 1.0;
    if (mean == 0 || x > INT_MAX)
        return 0.0;
    if (size > SIZE_MOST)
        return gsl_cdf_poisson_Q((unsigned)x, mean);
    return beta_upper(size / (size + mean), mean / (size + mean), size, (double)x + 1.0);
}

/* Doubling, then halving, on a tail that is monotone in k. */
static long first_count(double mean, double size, double goal, bool upper)
{
    assert(goal >= 0 && goal <= 1);
    double spread = sqrt(mean + (size > SIZE_MOST ? 0.0 : mean * mean / size));
    double start = mean + 4.0 * spread + 8.0;
    if (!domain_ok(mean, size) || !(start < INT_MAX / 2))
        return -1;
    long low = -1, high = (long)start;
    for (;;) {
        double at = upper ? negbin_more_than(high, mean, size) : negbin_at_most(high, mean, size);
        if (isnan(at) || high > INT_MAX / 2)
            return -1;
        if (upper ? at <= goal : at >= goal)
            break;
        low = high;
        high *= 2;
    }
    while (high - low > 1) {
        assert(low >= -1 && low < high);
        long middle = low + (high - low) / 2;
        double at =
            upper ? negbin_more_than(middle, mean, size) : negbin_at_most(middle, mean, size);
        if (upper ? at <= goal : at >= goal)
            high = middle;
        else
            low = middle;
    }
    return high;
}

long negbin_quantile(double p, double mean, double size)
{
    return p >= 0 && p < 1 ? first_count(mean, size, p, false) : -1;
}

long negbin_quantile_upper(double q, double mean, double size)
{
    return q > 0 && q <= 1 ? first_count(mean, size, q, true) : -1;
}
