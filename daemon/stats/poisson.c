#include "stats/poisson.h"

#include <assert.h>
#include <gsl/gsl_randist.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "stats/beta.h"
#include "stats/inverse.h"
#include "stats/solve.h"

struct interval poisson_limits(double count, double confidence)
{
    if (!(count >= 0) || !isfinite(count) || !(confidence > 0 && confidence < 1))
        return (struct interval){NAN, NAN};
    double each = 0.5 * (1.0 - confidence);
    return (struct interval){.low = count > 0 ? inverse_gamma_p(each, count) : 0.0,
                             .high = inverse_gamma_q(each, count + 1.0)};
}

/* Of `last` counts, each the first one's with probability `share`. */
struct binomial {
    double share;
    long last;
};

static double binomial_pmf(const struct binomial *d, long k)
{
    assert(k >= 0 && d->last >= 0);
    return gsl_ran_binomial_pdf((unsigned)k, d->share, (unsigned)d->last);
}

static double binomial_at_most(const struct binomial *d, long k)
{
    if (k < 0)
        return 0.0;
    return k >= d->last
               ? 1.0
               : beta_upper(d->share, 1.0 - d->share, (double)k + 1.0, (double)(d->last - k));
}

static double binomial_at_least(const struct binomial *d, long k)
{
    if (k <= 0)
        return 1.0;
    return k > d->last
               ? 0.0
               : beta_lower(d->share, 1.0 - d->share, (double)k, (double)(d->last - k) + 1.0);
}

/* First k in (low, high] at which the pmf is at most `limit`; it falls from low to high. */
static long first_falling(const struct binomial *d, double limit, long low, long high)
{
    assert(low < high);
    while (high - low > 1) {
        long middle = low + (high - low) / 2;
        if (binomial_pmf(d, middle) <= limit)
            high = middle;
        else
            low = middle;
    }
    return high;
}

/* Last k in [low, high) at which the pmf is at most `limit`; it rises from low to high. */
static long last_rising(const struct binomial *d, double limit, long low, long high)
{
    assert(low < high);
    while (high - low > 1) {
        long middle = low + (high - low) / 2;
        if (binomial_pmf(d, middle) <= limit)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* The tail beyond the outcome plus the far tail of outcomes no likelier. */
static double minimum_likelihood(const struct binomial *d, long count, double center)
{
    assert(count >= 0 && count <= d->last);
    double limit = binomial_pmf(d, count) * (1.0 + PVALUE_TIE);
    long low_side = (long)floor(center), high_side = (long)ceil(center);
    if ((double)count == center)
        return 1.0;
    if ((double)count < center) {
        long top = high_side;
        while (top < d->last && binomial_pmf(d, top) > limit)
            top = top > (d->last - 64) / 2 ? d->last : 2 * top + 64;
        if (binomial_pmf(d, top) > limit)
            return binomial_at_most(d, count);
        long from = binomial_pmf(d, high_side) <= limit ? high_side
                                                        : first_falling(d, limit, high_side, top);
        return fmin(1.0, binomial_at_most(d, count) + binomial_at_least(d, from));
    }
    if (binomial_pmf(d, 0) > limit)
        return binomial_at_least(d, count);
    long to = binomial_pmf(d, low_side) <= limit ? low_side : last_rising(d, limit, 0, low_side);
    return fmin(1.0, binomial_at_least(d, count) + binomial_at_most(d, to));
}

static int binomial_test(const struct binomial *d, long count, double center, struct pvalue *ret)
{
    pvalue_from_masses(binomial_at_most(d, count - 1), binomial_pmf(d, count),
                       binomial_at_least(d, count + 1), ret);
    ret->two_sided = minimum_likelihood(d, count, center);
    return isnan(ret->less + ret->greater + ret->two_sided) ? ERROR_INVALID : 0;
}

static double ratio_from(double q, double complement, double t1, double t2)
{
    return complement > 0 ? q / complement * t2 / t1 : INFINITY;
}

static struct interval exact_limits(long x1, double t1, long x2, double t2, double each)
{
    struct interval limits = {0.0, INFINITY};
    double rest, a = (double)x1, b = (double)x2;
    if (x1 > 0) {
        double q = inverse_beta_p(each, a, b + 1.0, &rest);
        limits.low = ratio_from(q, rest, t1, t2);
    }
    if (x2 > 0) {
        double q = inverse_beta_q(each, a + 1.0, b, &rest);
        limits.high = ratio_from(q, rest, t1, t2);
    }
    return limits;
}

struct binomial_midp {
    double x1, x2, log_target;
    bool upper;
};

/* Tails of Binomial(x1 + x2, q) by the beta distribution; q as its log odds. */
static double binomial_midp_difference(double log_odds, void *context)
{
    const struct binomial_midp *s = context;
    double q = 1.0 / (1.0 + exp(-log_odds)), rest = 1.0 / (1.0 + exp(log_odds)), tail;
    if (s->upper) {
        double below = s->x1 > 0 ? beta_upper(q, rest, s->x1, s->x2 + 1.0) : 0.0;
        tail = 0.5 * (below + beta_upper(q, rest, s->x1 + 1.0, s->x2));
    } else {
        double above = s->x2 > 0 ? beta_lower(q, rest, s->x1 + 1.0, s->x2) : 0.0;
        tail = 0.5 * (above + beta_lower(q, rest, s->x1, s->x2 + 1.0));
    }
    return log(fmax(tail, 1e-300)) - s->log_target;
}

static struct interval midp_limits(long x1, double t1, long x2, double t2, double each)
{
    struct interval limits = {0.0, INFINITY};
    struct binomial_midp s = {.x1 = (double)x1, .x2 = (double)x2, .log_target = log(each)};
    double start = log((s.x1 + 0.5) / (s.x2 + 0.5)), at;
    const struct solve_range below = {start - 1.0, 1.0, -60.0, 60.0};
    const struct solve_range above = {start + 1.0, 1.0, -60.0, 60.0};
    if (x1 > 0)
        limits.low = solve_monotone(binomial_midp_difference, &s, below, 1e-14, &at) == 0
                         ? exp(at) * t2 / t1
                         : NAN;
    s.upper = true;
    if (x2 > 0)
        limits.high = solve_monotone(binomial_midp_difference, &s, above, 1e-14, &at) == 0
                          ? exp(at) * t2 / t1
                          : NAN;
    return limits;
}

static struct interval wald_limits(long x1, long x2, double ratio, double each)
{
    if (x1 == 0 || x2 == 0)
        return (struct interval){NAN, NAN};
    double half = inverse_normal_q(each) * sqrt(1.0 / (double)x1 + 1.0 / (double)x2);
    return (struct interval){ratio * exp(-half), ratio * exp(half)};
}

int poisson_compare(long x1, double t1, long x2, double t2, double confidence,
                    struct poisson_ratio *ret)
{
    bool counts_ok = x1 >= 0 && x2 >= 0 && x1 <= INT_MAX / 2 && x2 <= INT_MAX / 2;
    bool times_ok = t1 > 0 && t2 > 0 && isfinite(t1) && isfinite(t2);
    if (!counts_ok || !times_ok || !(confidence > 0 && confidence < 1))
        return ERROR_INVALID;
    double each = 0.5 * (1.0 - confidence);
    struct poisson_ratio r = {.exact = exact_limits(x1, t1, x2, t2, each),
                              .midp = midp_limits(x1, t1, x2, t2, each)};
    r.ratio = x1 + x2 == 0 ? NAN : x2 == 0 ? INFINITY : (double)x1 / t1 / ((double)x2 / t2);
    r.wald = wald_limits(x1, x2, r.ratio, each);
    struct binomial d = {.share = t1 / (t1 + t2), .last = x1 + x2};
    int status = 0;
    if (x1 + x2 == 0) {
        pvalue_from_masses(0.0, 1.0, 0.0, &r.p);
        r.p.two_sided = 1.0;
    } else {
        status = binomial_test(&d, x1, (double)d.last * d.share, &r.p);
    }
    if (status == 0)
        *ret = r;
    return status;
}
