#include "stats/poisson.h"

#include <gsl/gsl_cdf.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>

#include "stats/inverse.h"
#include "stats/solve.h"

static const struct interval not_known = {NAN, NAN};

static bool confidence_ok(double confidence)
{
    return confidence > 0 && confidence < 1;
}

struct interval poisson_limits(double count, double confidence)
{
    if (!(count >= 0) || !isfinite(count) || !confidence_ok(confidence))
        return not_known;
    double each = 0.5 * (1.0 - confidence);
    return (struct interval){.low = count > 0 ? inverse_gamma_p(each, count) : 0.0,
                             .high = inverse_gamma_q(each, count + 1.0)};
}

struct midp_search {
    double count, log_target;
    bool upper; /* of the limit: the tail below the count */
};

/* P(X >= x) = gamma P(mean; x) and P(X <= x) = gamma Q(mean; x + 1): also for fractional x. */
static double midp_difference(double log_mean, void *context)
{
    const struct midp_search *s = context;
    double mean = exp(log_mean), tail;
    if (s->upper) {
        double below = s->count > 0 ? gsl_cdf_gamma_Q(mean, s->count, 1.0) : 0.0;
        tail = 0.5 * (below + gsl_cdf_gamma_Q(mean, s->count + 1.0, 1.0));
    } else {
        tail = 0.5 *
               (gsl_cdf_gamma_P(mean, s->count, 1.0) + gsl_cdf_gamma_P(mean, s->count + 1.0, 1.0));
    }
    return log(fmax(tail, 1e-300)) - s->log_target;
}

struct interval poisson_limits_midp(double count, double confidence)
{
    struct interval exact = poisson_limits(count, confidence), limits = {0, NAN};
    if (isnan(exact.high))
        return not_known;
    struct midp_search s = {.count = count, .log_target = log(0.5 * (1.0 - confidence))};
    double at;
    if (count > 0)
        limits.low = solve_monotone(midp_difference, &s, log(exact.low), 0.5, -700.0,
                                    log(count) + 1.0, 1e-14, &at) == 0
                         ? exp(at)
                         : NAN;
    s.upper = true;
    if (solve_monotone(midp_difference, &s, log(exact.high), 0.5, -700.0, log(exact.high) + 1.0,
                       1e-14, &at) == 0)
        limits.high = exp(at);
    return limits;
}

/* Smallest k at which `enough` holds; it stays true once true. */
static long smallest(double mean, double goal, bool (*enough)(long k, double mean, double goal))
{
    double start = mean + 10.0 * sqrt(mean) + 16.0;
    if (!(mean >= 0) || !(start < INT_MAX / 2))
        return -1;
    long high = (long)start, low = -1;
    while (!enough(high, mean, goal)) {
        if (high > INT_MAX / 2)
            return -1;
        low = high;
        high *= 2;
    }
    while (high - low > 1) {
        long middle = low + (high - low) / 2;
        if (enough(middle, mean, goal))
            high = middle;
        else
            low = middle;
    }
    return high;
}

static bool enough_below(long k, double mean, double p)
{
    return mean == 0 || gsl_cdf_poisson_P((unsigned)k, mean) >= p;
}

static bool little_above(long k, double mean, double q)
{
    return mean == 0 || gsl_cdf_poisson_Q((unsigned)k, mean) <= q;
}

long poisson_quantile(double p, double mean)
{
    return p >= 0 && p < 1 ? smallest(mean, p, enough_below) : -1;
}

long poisson_quantile_upper(double q, double mean)
{
    return q > 0 && q <= 1 ? smallest(mean, q, little_above) : -1;
}
