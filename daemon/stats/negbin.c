#include "stats/negbin.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <gsl/gsl_sf_psi.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "stats/beta.h"
#include "stats/solve.h"

#define SIZE_MOST 1e8   /* beyond this size the difference to Poisson is lost in rounding */
#define SIZE_LEAST 1e-5 /* fits are sought between these */
#define SIZE_FITTED_MOST 1e6

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

struct sample {
    const double *counts, *expected;
    size_t n;
    double size; /* while the ratio is sought */
};

static double expected_at(const struct sample *s, size_t i)
{
    return s->expected ? s->expected[i] : 1.0;
}

/* Score of the log ratio at a given size: monotone, so one root. */
static double ratio_score(double log_ratio, void *context)
{
    const struct sample *s = context;
    double ratio = exp(log_ratio), sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        double mean = ratio * expected_at(s, i);
        sum += (s->counts[i] - mean) / (1.0 + mean / s->size);
    }
    return sum;
}

static double best_ratio(struct sample *s, double size)
{
    double observed = 0, expected = 0;
    for (size_t i = 0; i < s->n; i++) {
        observed += s->counts[i];
        expected += expected_at(s, i);
    }
    double plain = observed / expected;
    if (!s->expected || observed == 0)
        return plain; /* equal expectations: the mean, whatever the size */
    s->size = size;
    double at;
    if (solve_monotone(ratio_score, s, log(plain), 0.5, log(plain) - 60.0, log(plain) + 60.0, 1e-12,
                       &at) != 0)
        return NAN;
    return exp(at);
}

/* psi(x + k) - psi(k), the short way for small counts */
static double psi_difference(double x, double k)
{
    if (x == floor(x) && x <= 32.0) {
        double sum = 0;
        for (int j = 0; j < (int)x; j++)
            sum += 1.0 / (k + j);
        return sum;
    }
    return gsl_sf_psi(x + k) - gsl_sf_psi(k);
}

/* Derivative of the profile log likelihood by the size, scaled by size^2 so that it stays of
 * order one as the size grows. */
static double size_score(double log_size, void *context)
{
    struct sample *s = context;
    double size = exp(log_size), ratio = best_ratio(s, size), sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        double mean = ratio * expected_at(s, i), x = s->counts[i];
        sum += psi_difference(x, size) - log1p(mean / size) - (x - mean) / (size + mean);
    }
    return sum * size * size;
}

static int check_sample(const struct sample *s)
{
    double total = 0;
    for (size_t i = 0; i < s->n; i++) {
        double e = expected_at(s, i), x = s->counts[i];
        if (!(x >= 0) || !isfinite(x) || !(e >= 0) || !isfinite(e) || (e == 0 && x > 0))
            return ERROR_INVALID;
        total += e;
    }
    return total > 0 ? 0 : ERROR_INVALID;
}

/* The size has a finite maximum only if counts spread more than Poisson about ratio x expected:
 * sum (x - m)^2 - x > 0, the sign of the score as the size grows. */
static bool more_spread_than_poisson(struct sample *s)
{
    double ratio = best_ratio(s, INFINITY), sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        double off = s->counts[i] - ratio * expected_at(s, i);
        sum += off * off - s->counts[i];
    }
    return sum > 0;
}

int negbin_fit(const double *counts, const double *expected, size_t n, struct negbin_fit *ret)
{
    struct sample s = {.counts = counts, .expected = expected, .n = n};
    if (check_sample(&s) != 0)
        return ERROR_INVALID;
    struct negbin_fit fit = {.size = INFINITY};
    double at;
    if (more_spread_than_poisson(&s) &&
        solve_bracketed(size_score, &s, log(SIZE_LEAST), log(SIZE_FITTED_MOST), 1e-11, &at) == 0)
        fit.size = exp(at);
    fit.ratio = best_ratio(&s, fit.size);
    for (size_t i = 0; i < n; i++)
        fit.log_likelihood += negbin_log_pmf(counts[i], fit.ratio * expected_at(&s, i), fit.size);
    if (isnan(fit.log_likelihood))
        return ERROR_INVALID;
    *ret = fit;
    return 0;
}

double negbin_size_by_moments(const double *counts, size_t n)
{
    double mean = 0, squares = 0;
    for (size_t i = 0; i < n; i++) {
        double off = counts[i] - mean;
        mean += off / (double)(i + 1);
        squares += off * (counts[i] - mean);
    }
    if (n < 2)
        return INFINITY;
    double variance = squares / (double)(n - 1);
    return variance > mean ? mean * mean / (variance - mean) : INFINITY;
}
