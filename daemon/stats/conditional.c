#include "stats/conditional.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "stats/solve.h"

#define LOG_RATIO_MOST 120.0
#define TOLERANCE 1e-12

struct search {
    const struct conditional_family *family;
    double log_target;
    bool below; /* the tail below the outcome is wanted, else the one above */
    bool midp;
};

static double tail_difference(double log_ratio, void *context)
{
    const struct search *s = context;
    struct conditional_masses m;
    s->family->masses(s->family->distribution, log_ratio, &m);
    double tail = (s->below ? m.below : m.above) + (s->midp ? 0.5 : 1.0) * m.at;
    return log(fmax(tail, 1e-300)) - s->log_target;
}

static double mean_difference(double log_ratio, void *context)
{
    const struct search *s = context;
    struct conditional_masses m;
    s->family->masses(s->family->distribution, log_ratio, &m);
    return m.mean - (double)s->family->outcome;
}

static double limit(const struct conditional_family *family, double start, double each, bool below,
                    bool midp)
{
    assert(each > 0 && each < 0.5);
    struct search s = {.family = family, .log_target = log(each), .below = below, .midp = midp};
    double at;
    const struct solve_range range = {below ? start + 1.5 : start - 1.5, 1.0, -LOG_RATIO_MOST,
                                      LOG_RATIO_MOST};
    int status = solve_monotone(tail_difference, &s, range, TOLERANCE, &at);
    return status == 0 ? exp(at) : NAN;
}

static double estimate(const struct conditional_family *family, double start)
{
    struct search s = {.family = family};
    double at;
    const struct solve_range range = {start, 0.5, -LOG_RATIO_MOST, LOG_RATIO_MOST};
    int status = solve_monotone(mean_difference, &s, range, TOLERANCE, &at);
    return status == 0 ? exp(at) : NAN;
}

int conditional_estimate(const struct conditional_family *family, double start, double confidence,
                         struct conditional_odds *ret)
{
    assert(family->masses && family->low <= family->high);
    long x = family->outcome;
    if (x < family->low || x > family->high || !(confidence > 0 && confidence < 1))
        return ERROR_INVALID;
    struct conditional_odds odds = {.exact = {0.0, INFINITY}, .midp = {0.0, INFINITY}};
    bool least = x == family->low, most = x == family->high;
    if (least && most)
        odds.ratio = NAN; /* the margins alone fix the table: it says nothing */
    else
        odds.ratio = least ? 0.0 : most ? INFINITY : estimate(family, start);
    double each = 0.5 * (1.0 - confidence);
    if (!least) {
        odds.exact.low = limit(family, start, each, false, false);
        odds.midp.low = limit(family, start, each, false, true);
    }
    if (!most) {
        odds.exact.high = limit(family, start, each, true, false);
        odds.midp.high = limit(family, start, each, true, true);
    }
    *ret = odds;
    return 0;
}
