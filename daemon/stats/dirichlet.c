#include "stats/dirichlet.h"

#include <gsl/gsl_sf_gamma.h>
#include <math.h>

#include "base/error.h"
#include "stats/inverse.h"

/* Sum of positive finite weights, or NAN. */
static double total_weight(const double *weights, size_t n)
{
    double total = 0;
    for (size_t i = 0; i < n; i++)
        total += weights[i] > 0 ? weights[i] : NAN;
    return isfinite(total) && n > 0 ? total : NAN;
}

static double total_count(const double *counts, size_t n)
{
    double total = 0;
    for (size_t i = 0; i < n; i++)
        total += counts[i] >= 0 ? counts[i] : NAN;
    return isfinite(total) ? total : NAN;
}

int dirichlet_update(const double *prior, const double *counts, size_t n, double *ret_weights)
{
    if (isnan(total_weight(prior, n)) || isnan(total_count(counts, n)))
        return ERROR_INVALID;
    for (size_t i = 0; i < n; i++)
        ret_weights[i] = prior[i] + counts[i];
    return 0;
}

int dirichlet_mean(const double *weights, size_t n, double *ret_mean)
{
    double total = total_weight(weights, n);
    if (isnan(total))
        return ERROR_INVALID;
    for (size_t i = 0; i < n; i++)
        ret_mean[i] = weights[i] / total;
    return 0;
}

double dirichlet_deviation(const double *weights, size_t n, size_t which)
{
    double total = total_weight(weights, n);
    if (which >= n)
        return NAN;
    double mean = weights[which] / total;
    return sqrt(mean * (1.0 - mean) / (total + 1.0));
}

struct interval dirichlet_interval(const double *weights, size_t n, size_t which, double confidence)
{
    double total = total_weight(weights, n), each = 0.5 * (1.0 - confidence);
    if (which >= n || n < 2 || isnan(total))
        return (struct interval){NAN, NAN};
    double rest = 0;
    for (size_t i = 0; i < n; i++)
        rest += i == which ? 0.0 : weights[i];
    return (struct interval){inverse_beta_p(each, weights[which], rest, NULL),
                             inverse_beta_q(each, weights[which], rest, NULL)};
}

double dirichlet_log_sequence(const double *prior, const double *counts, size_t n)
{
    double weight = total_weight(prior, n), count = total_count(counts, n);
    if (isnan(weight) || isnan(count))
        return NAN;
    double sum = gsl_sf_lngamma(weight) - gsl_sf_lngamma(weight + count);
    for (size_t i = 0; i < n; i++)
        sum += gsl_sf_lngamma(prior[i] + counts[i]) - gsl_sf_lngamma(prior[i]);
    return sum;
}

double dirichlet_log_counts(const double *prior, const double *counts, size_t n)
{
    double sum = dirichlet_log_sequence(prior, counts, n);
    if (isnan(sum))
        return NAN;
    sum += gsl_sf_lngamma(total_count(counts, n) + 1.0);
    for (size_t i = 0; i < n; i++)
        sum -= gsl_sf_lngamma(counts[i] + 1.0);
    return sum;
}
