#include "stats/mantel.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "stats/inverse.h"

#define JOINT_RANGE_MOST 20000

static bool cells_ok(const struct mantel_table *t)
{
    return t->a >= 0 && t->b >= 0 && t->c >= 0 && t->d >= 0;
}

static bool informative(const struct mantel_table *t)
{
    return t->a + t->b > 0 && t->c + t->d > 0 && t->a + t->c > 0 && t->b + t->d > 0;
}

/* The sums that all estimates are made of. */
struct sums {
    double r, s;          /* sum ad/n, bc/n */
    double pr, ps_qr, qs; /* Robins-Breslow-Greenland */
    double risk1, risk2, risk_variance;
};

static void add_stratum(const struct mantel_table *t, struct mantel *m, struct sums *x)
{
    double a = (double)t->a, b = (double)t->b, c = (double)t->c, d = (double)t->d;
    double row1 = a + b, row2 = c + d, failed = a + c, held = b + d, n = row1 + row2;
    m->observed += a;
    m->expected += row1 * failed / n;
    m->variance += n > 1 ? row1 * row2 * failed * held / (n * n * (n - 1.0)) : 0.0;
    double r = a * d / n, s = b * c / n, p = (a + d) / n, q = (b + c) / n;
    x->r += r;
    x->s += s;
    x->pr += p * r;
    x->ps_qr += p * s + q * r;
    x->qs += q * s;
    x->risk1 += a * row2 / n;
    x->risk2 += c * row1 / n;
    x->risk_variance += (failed * row1 * row2 - a * c * n) / (n * n);
    m->strata++;
}

static double chi_square_p(double chi_square, double df)
{
    return gsl_cdf_chisq_Q(chi_square, df);
}

/* Expected `a` of a table with these margins under the common odds ratio: a root of a quadratic. */
static double fitted_cell(const struct mantel_table *t, double ratio)
{
    assert(ratio > 0);
    double row1 = (double)(t->a + t->b), row2 = (double)(t->c + t->d);
    double failed = (double)(t->a + t->c);
    double lead = 1.0 - ratio, middle = row2 - failed + ratio * (row1 + failed);
    double last = -ratio * row1 * failed;
    /* the form that stays sound as the ratio nears 1 */
    return -2.0 * last / (middle + sqrt(middle * middle - 4.0 * lead * last));
}

static void homogeneity(const struct mantel_table *strata, size_t n, struct mantel *m)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        const struct mantel_table *t = &strata[i];
        if (!informative(t))
            continue;
        double row1 = (double)(t->a + t->b), failed = (double)(t->a + t->c);
        double row2 = (double)(t->c + t->d);
        double a = fitted_cell(t, m->odds_ratio), b = row1 - a, c = failed - a, d = row2 - c;
        double variance = 1.0 / (1.0 / a + 1.0 / b + 1.0 / c + 1.0 / d);
        double off = (double)t->a - a;
        sum += off * off / variance;
    }
    m->breslow_day = sum;
    m->breslow_day_p = m->strata > 1 ? chi_square_p(sum, (double)(m->strata - 1)) : 1.0;
}

int mantel_test(const struct mantel_table *strata, size_t n, double confidence, struct mantel *ret)
{
    if (!(confidence > 0 && confidence < 1))
        return ERROR_INVALID;
    struct mantel m = {0};
    struct sums x = {0};
    for (size_t i = 0; i < n; i++) {
        if (!cells_ok(&strata[i]))
            return ERROR_INVALID;
        if (informative(&strata[i]))
            add_stratum(&strata[i], &m, &x);
    }
    if (m.strata == 0 || !(m.variance > 0))
        return ERROR_INVALID;
    double off = fabs(m.observed - m.expected), corrected = fmax(0.0, off - 0.5);
    m.chi_square = off * off / m.variance;
    m.chi_square_corrected = corrected * corrected / m.variance;
    m.p = chi_square_p(m.chi_square, 1.0);
    m.p_corrected = chi_square_p(m.chi_square_corrected, 1.0);
    m.odds_ratio = x.s > 0 ? x.r / x.s : x.r > 0 ? INFINITY : NAN;
    m.risk_ratio = x.risk2 > 0 ? x.risk1 / x.risk2 : x.risk1 > 0 ? INFINITY : NAN;
    m.log_se =
        sqrt(x.pr / (2.0 * x.r * x.r) + x.ps_qr / (2.0 * x.r * x.s) + x.qs / (2.0 * x.s * x.s));
    double z = inverse_normal_q(0.5 * (1.0 - confidence));
    double risk_half = z * sqrt(x.risk_variance / (x.risk1 * x.risk2));
    m.limits =
        (struct interval){m.odds_ratio * exp(-z * m.log_se), m.odds_ratio * exp(z * m.log_se)};
    m.risk_limits =
        (struct interval){m.risk_ratio * exp(-risk_half), m.risk_ratio * exp(risk_half)};
    if (!(x.r > 0 && x.s > 0)) { /* an estimate at 0 or infinity has no such limits */
        m.log_se = NAN;
        m.limits = (struct interval){NAN, NAN};
        m.breslow_day = m.breslow_day_p = NAN;
    } else {
        homogeneity(strata, n, &m);
    }
    if (!(x.risk1 > 0 && x.risk2 > 0))
        m.risk_limits = (struct interval){NAN, NAN};
    *ret = m;
    return 0;
}

/* Weights over the joint outcome low .. low + count - 1, the largest 1. */
struct joint {
    double *weights;
    long low, count, outcome;
};

static void joint_masses(const void *distribution, double log_ratio, struct conditional_masses *ret)
{
    const struct joint *j = distribution;
    double sums[3] = {0}, moment = 0, top = -INFINITY;
    for (long k = 0; k < j->count; k++)
        if (j->weights[k] > 0)
            top = fmax(top, log(j->weights[k]) + (double)k * log_ratio);
    for (long k = 0; k < j->count; k++) {
        if (!(j->weights[k] > 0))
            continue;
        double weight = exp(log(j->weights[k]) + (double)k * log_ratio - top);
        long at = j->low + k;
        sums[at < j->outcome ? 0 : at == j->outcome ? 1 : 2] += weight;
        moment += weight * (double)at;
    }
    double total = sums[0] + sums[1] + sums[2];
    *ret = (struct conditional_masses){.below = sums[0] / total,
                                       .at = sums[1] / total,
                                       .above = sums[2] / total,
                                       .mean = moment / total};
}

/* Range of `a` in one stratum. */
static long range_of(const struct mantel_table *t, long *ret_low)
{
    long row1 = t->a + t->b, row2 = t->c + t->d, column = t->a + t->c;
    long low = column > row2 ? column - row2 : 0, high = column < row1 ? column : row1;
    *ret_low = low;
    return high - low + 1;
}

static double log_choose(double n, double k)
{
    return gsl_sf_lngamma(n + 1.0) - gsl_sf_lngamma(k + 1.0) - gsl_sf_lngamma(n - k + 1.0);
}

/* One stratum's weights, the largest 1. */
static void stratum_weights(const struct mantel_table *t, long low, long count, double *weights)
{
    double row1 = (double)(t->a + t->b), row2 = (double)(t->c + t->d);
    double column = (double)(t->a + t->c), top = -INFINITY;
    for (long k = 0; k < count; k++) {
        double x = (double)(low + k);
        weights[k] = log_choose(row1, x) + log_choose(row2, column - x);
        top = fmax(top, weights[k]);
    }
    for (long k = 0; k < count; k++)
        weights[k] = exp(weights[k] - top);
}

/* Multiplies one stratum into the joint distribution. `room` holds the joint range. */
static void convolve(struct joint *j, const struct mantel_table *t, double *weights, double *room)
{
    long low, count = range_of(t, &low), joined = j->count + count - 1;
    assert(count > 0 && low >= 0);
    assert(j->outcome >= j->low && j->outcome < j->low + j->count);
    stratum_weights(t, low, count, weights);
    double top = 0;
    for (long k = 0; k < joined; k++)
        room[k] = 0;
    for (long i = 0; i < j->count; i++)
        for (long k = 0; k < count; k++) {
            assert(i + k < joined);
            room[i + k] += j->weights[i] * weights[k];
        }
    for (long k = 0; k < joined; k++)
        top = fmax(top, room[k]);
    for (long k = 0; k < joined; k++)
        j->weights[k] = room[k] / top;
    j->low += low;
    j->count = joined;
    j->outcome += t->a;
}

static double minimum_likelihood(const struct joint *j)
{
    assert(j->outcome >= j->low && j->outcome < j->low + j->count);
    double bound = j->weights[j->outcome - j->low] * (1.0 + PVALUE_TIE), total = 0, unlikely = 0;
    for (long k = 0; k < j->count; k++) {
        total += j->weights[k];
        unlikely += j->weights[k] <= bound ? j->weights[k] : 0.0;
    }
    return fmin(1.0, unlikely / total);
}

static int joint_range(const struct mantel_table *strata, size_t n, long *ret_range)
{
    long range = 1, low;
    for (size_t i = 0; i < n; i++) {
        if (!cells_ok(&strata[i]))
            return ERROR_INVALID;
        range += range_of(&strata[i], &low) - 1;
        if (range > JOINT_RANGE_MOST)
            return ERROR_TOO_LARGE;
    }
    *ret_range = range;
    return range > 1 ? 0 : ERROR_INVALID;
}

int mantel_exact(const struct mantel_table *strata, size_t n, double confidence,
                 struct pvalue *ret_p, struct conditional_odds *ret_odds)
{
    long range;
    int status = joint_range(strata, n, &range);
    if (status != 0)
        return status;
    size_t room = (size_t)range;
    struct joint j = {.weights = xcalloc(room, sizeof(double)), .count = 1};
    double *stratum = xcalloc(room, sizeof *stratum), *joined = xcalloc(room, sizeof *joined);
    j.weights[0] = 1.0;
    for (size_t i = 0; i < n; i++)
        convolve(&j, &strata[i], stratum, joined);
    assert(j.count == range); /* the strata's ranges add up */
    if (ret_p) {
        struct conditional_masses masses;
        joint_masses(&j, 0.0, &masses);
        pvalue_from_masses(masses.below, masses.at, masses.above, ret_p);
        ret_p->two_sided = minimum_likelihood(&j);
    }
    if (ret_odds) {
        struct conditional_family family = {.masses = joint_masses,
                                            .distribution = &j,
                                            .outcome = j.outcome,
                                            .low = j.low,
                                            .high = j.low + j.count - 1};
        struct mantel m;
        bool guess = mantel_test(strata, n, confidence, &m) == 0 && isfinite(log(m.odds_ratio));
        status =
            conditional_estimate(&family, guess ? log(m.odds_ratio) : 0.0, confidence, ret_odds);
    }
    free(j.weights);
    free(stratum);
    free(joined);
    return status;
}
