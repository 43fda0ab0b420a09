#include "stats/delay.h"

#include <assert.h>
#include <math.h>

#include "base/error.h"
#include "stats/negbin.h"

/* A period tells how its reports are spread over the delays once so much of them is in. */
#define NEARLY_ALL 0.8
/* DELAY_UNLIKE_USUAL weighs as much as so many periods of many reports and two delays. */
#define UNLIKE_PRIOR_PERIODS 4.0
#define UNLIKE_PRIOR (UNLIKE_PRIOR_PERIODS * 2 * 0.2)
#define UNLIKE_MOST 0.5

static double cell(const struct delay_triangle *t, size_t period, size_t delay)
{
    assert(period < t->periods && delay < t->delays);
    return t->counts[period * t->delays + delay];
}

static int check(const struct delay_triangle *t)
{
    double total = 0;
    if (t->delays == 0 || t->delays > DELAY_MOST)
        return ERROR_INVALID;
    for (size_t i = 0; i < t->periods; i++) {
        if (t->seen[i] > t->delays)
            return ERROR_INVALID;
        for (size_t d = 0; d < t->seen[i]; d++) {
            if (!(cell(t, i, d) >= 0))
                return ERROR_INVALID;
            total += cell(t, i, d);
        }
    }
    return isfinite(total) ? 0 : ERROR_INVALID;
}

/* N(delay d) and N(delay <= d) over the periods that show d. */
static void hazard_counts(const struct delay_triangle *t, const double *prior, size_t d,
                          double *ret_at, double *ret_within)
{
    assert(d < t->delays);
    double at = prior ? prior[d] : 0.0, within = 0;
    for (size_t u = 0; prior && u <= d; u++)
        within += prior[u];
    for (size_t i = 0; i < t->periods; i++) {
        if (t->seen[i] <= d)
            continue;
        at += cell(t, i, d);
        for (size_t u = 0; u <= d; u++)
            within += cell(t, i, u);
    }
    *ret_at = at;
    *ret_within = within;
}

int delay_fit(const struct delay_triangle *triangle, const double *prior, struct delay_curve *ret)
{
    if (check(triangle) != 0)
        return ERROR_INVALID;
    struct delay_curve curve = {.delays = triangle->delays};
    double log_variance = 0, share = 1.0;
    for (size_t d = triangle->delays; d-- > 0;) {
        curve.share[d] = share;
        curve.log_variance[d] = log_variance;
        double at, within;
        hazard_counts(triangle, prior, d, &at, &within);
        if (isnan(at) || at < 0)
            return ERROR_INVALID;
        curve.reports = fmax(curve.reports, within);
        double hazard = within > 0 ? at / within : 0.0;
        if (d > 0 && hazard < 1.0 && within > 0)
            log_variance += hazard / ((1.0 - hazard) * within);
        if (d > 0)
            share *= 1.0 - hazard;
    }
    if (!(curve.reports > 0))
        return ERROR_INVALID;
    assert(curve.share[curve.delays - 1] == 1.0); /* what comes comes in the end */
    *ret = curve;
    return 0;
}

void delay_unlike_add(const struct delay_triangle *triangle, const struct delay_curve *curve,
                      struct delay_unlike *sum)
{
    assert(triangle->delays == curve->delays);
    for (size_t i = 0; i < triangle->periods; i++) {
        size_t seen = triangle->seen[i];
        double all = 0, so_far = 0, telling;
        for (size_t d = 0; d < seen; d++)
            all += cell(triangle, i, d);
        if (all < 2 || curve->share[seen - 1] < NEARLY_ALL)
            continue;
        /* beyond so many reports a period tells one delay curve, however many there are */
        telling = (all - 1) / (1 / DELAY_UNLIKE_USUAL + all - 1);
        telling *= telling;
        for (size_t d = 0; d + 1 < seen; d++) {
            double share = curve->share[d] / curve->share[seen - 1];
            double even = share * (1 - share), off;
            so_far += cell(triangle, i, d);
            off = so_far - all * share;
            sum->excess += telling * (off * off - all * even) / (all * (all - 1));
            sum->weight += telling * even;
        }
    }
}

double delay_unlike(const struct delay_unlike *sum)
{
    double prior = UNLIKE_PRIOR * DELAY_UNLIKE_USUAL;
    return fmin(fmax((sum->excess + prior) / (sum->weight + UNLIKE_PRIOR), 0), UNLIKE_MOST);
}

/* Value at `age` of a curve known at ages 1, 2, … (index d is age d + 1) and `origin` at 0. */
static double at_age(const double *values, size_t n, double origin, double age)
{
    assert(n > 0);
    if (age >= (double)n)
        return values[n - 1];
    size_t before = (size_t)fmax(0.0, floor(age));
    double from = before ? values[before - 1] : origin;
    double part = fmax(0.0, age) - (double)before;
    return from + part * (values[before] - from);
}

double delay_share(const struct delay_curve *curve, double age)
{
    return at_age(curve->share, curve->delays, 0.0, age);
}

double delay_log_variance(const struct delay_curve *curve, double age)
{
    return at_age(curve->log_variance, curve->delays, curve->log_variance[0], age);
}

/* Mean and size of the reports still missing. */
static void missing(const struct delay_so_far *so_far, struct delay_prior prior, double *ret_mean,
                    double *ret_size)
{
    assert(prior.rate + so_far->share > 0);
    double share = so_far->share, rest = 1.0 - share;
    double shape = prior.shape + so_far->reported, reach = prior.rate + share;
    /* how much log mean moves with log share */
    double lever = rest > 0 ? share * (1.0 / rest + 1.0 / reach) : 0.0;
    double own = share > 0 ? so_far->unlike * rest / share : 0.0;
    double of_curve = lever * lever * (so_far->log_variance + own), of_count = 1.0 / shape;
    double spread = of_count + of_curve + of_count * of_curve;
    *ret_mean = shape * rest / reach;
    *ret_size = spread > 0 ? 1.0 / spread : INFINITY;
}

/* Equal tails of whole numbers hold more than was asked, of small ones much more: ends are given
 * up, the unlikelier first, while the rest still holds the confidence. */
static void trim(double mean, double size, double confidence, long *low, long *high)
{
    assert(*low >= 0 && *low <= *high);
    assert(confidence > 0 && confidence < 1);
    double held = negbin_at_most(*high, mean, size);
    if (*low > 0)
        held -= negbin_at_most(*low - 1, mean, size);
    while (*low < *high) {
        double bottom = negbin_pmf(*low, mean, size), top = negbin_pmf(*high, mean, size);
        held -= fmin(bottom, top);
        if (held < confidence)
            return;
        if (bottom < top)
            ++*low;
        else
            --*high;
    }
}

int delay_forecast(const struct delay_so_far *so_far, struct delay_prior prior, double confidence,
                   struct delay_forecast *ret)
{
    double reported = so_far->reported, share = so_far->share;
    if (!(reported >= 0) || !(share >= 0 && share <= 1) || !(so_far->log_variance >= 0) ||
        !(prior.shape >= 0) || !(prior.rate >= 0) || !(share + prior.rate > 0) ||
        !(confidence > 0 && confidence < 1) || !(so_far->unlike >= 0))
        return ERROR_INVALID;
    struct delay_forecast f = {.share = share,
                               .reported = reported,
                               .expected_final = reported,
                               .size = INFINITY,
                               .final = {reported, reported},
                               .too_early = share < DELAY_TOO_EARLY};
    double each = 0.5 * (1.0 - confidence), mean, size;
    if (share < 1.0 && prior.shape + reported > 0) {
        missing(so_far, prior, &mean, &size);
        long low = negbin_quantile(each, mean, size),
             high = negbin_quantile_upper(each, mean, size);
        if (low < 0 || high < 0)
            return ERROR_INVALID;
        trim(mean, size, confidence, &low, &high);
        f.expected_final += mean;
        f.size = size;
        f.final = (struct interval){reported + (double)low, reported + (double)high};
    } else if (share < 1.0) {
        /* none reported, nothing believed: the flat prior on the mean bounds it from above */
        missing(so_far, (struct delay_prior){1.0, prior.rate}, &mean, &size);
        f.final.high = (double)negbin_quantile_upper(each, mean, size);
    }
    *ret = f;
    return 0;
}
