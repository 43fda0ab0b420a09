#include "stats/table2.h"

#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "stats/inverse.h"

/* Terms this small against the sum no longer change it. */
#define NEGLIGIBLE 1e-18

static bool cells_ok(const struct table2 *t)
{
    return t->a >= 0 && t->b >= 0 && t->c >= 0 && t->d >= 0 && t->a + t->b + t->c + t->d > 0;
}

/* Fisher's noncentral hypergeometric distribution of the cell `a`: weights
 * C(row1, k) C(row2, column - k) ratio^k for low <= k <= high. */
struct margins {
    double row1, row2, column;
    long low, high, outcome;
};

static struct margins margins_of(const struct table2 *t)
{
    long row1 = t->a + t->b, row2 = t->c + t->d, column = t->a + t->c;
    struct margins m = {(double)row1, (double)row2, (double)column, 0, 0, t->a};
    m.low = column > row2 ? column - row2 : 0;
    m.high = column < row1 ? column : row1;
    return m;
}

/* w(k + 1) / w(k) */
static double step_up(const struct margins *m, long k, double ratio)
{
    double x = (double)k;
    return ratio * (m->row1 - x) * (m->column - x) / ((x + 1.0) * (m->row2 - m->column + x + 1.0));
}

static long mode_of(const struct margins *m, double ratio)
{
    long low = m->low, high = m->high; /* the steps fall with k: the mode is the first below 1 */
    while (low < high) {
        long middle = low + (high - low) / 2;
        if (step_up(m, middle, ratio) >= 1.0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Sums outwards from the mode, where weights are largest: no overflow, and each tail keeps its own
 * digits because it is summed by itself. */
static void margin_masses(const void *distribution, double log_ratio,
                          struct conditional_masses *ret)
{
    const struct margins *m = distribution;
    double ratio = exp(log_ratio);
    long mode = mode_of(m, ratio);
    double sums[3] = {0}, moment = 0, weight = 1.0;
    for (long k = mode; k <= m->high; k++) {
        int part = k < m->outcome ? 0 : k == m->outcome ? 1 : 2;
        sums[part] += weight;
        moment += weight * (double)(k - mode);
        if (weight < NEGLIGIBLE * sums[part] || weight == 0)
            if (k > m->outcome || weight == 0)
                break;
        weight *= step_up(m, k, ratio);
    }
    weight = 1.0;
    for (long k = mode - 1; k >= m->low; k--) {
        weight /= step_up(m, k, ratio);
        int part = k < m->outcome ? 0 : k == m->outcome ? 1 : 2;
        sums[part] += weight;
        moment += weight * (double)(k - mode);
        if (weight < NEGLIGIBLE * sums[part] || weight == 0)
            if (k < m->outcome || weight == 0)
                break;
    }
    double total = sums[0] + sums[1] + sums[2];
    *ret = (struct conditional_masses){.below = sums[0] / total,
                                       .at = sums[1] / total,
                                       .above = sums[2] / total,
                                       .mean = (double)mode + moment / total};
}

/* Sum over outcomes no likelier than the one seen, central distribution. */
static double minimum_likelihood(const struct margins *m)
{
    long mode = mode_of(m, 1.0);
    double seen = 1.0, total = 0, unlikely = 0, weight = 1.0;
    for (long k = mode; k < m->outcome; k++)
        seen *= step_up(m, k, 1.0);
    for (long k = mode - 1; k >= m->outcome; k--)
        seen /= step_up(m, k, 1.0);
    double bound = seen * (1.0 + PVALUE_TIE);
    for (long k = mode; k <= m->high && weight > 0; k++) {
        total += weight;
        unlikely += weight <= bound ? weight : 0.0;
        weight *= step_up(m, k, 1.0);
    }
    weight = 1.0;
    for (long k = mode - 1; k >= m->low && weight > 0; k--) {
        weight /= step_up(m, k, 1.0);
        total += weight;
        unlikely += weight <= bound ? weight : 0.0;
    }
    return fmin(1.0, unlikely / total);
}

int table2_test(const struct table2 *t, struct pvalue *ret)
{
    if (!cells_ok(t))
        return ERROR_INVALID;
    struct margins m = margins_of(t);
    struct conditional_masses masses;
    margin_masses(&m, 0.0, &masses);
    pvalue_from_masses(masses.below, masses.at, masses.above, ret);
    ret->two_sided = minimum_likelihood(&m);
    return 0;
}

int table2_odds(const struct table2 *t, double confidence, struct conditional_odds *ret)
{
    if (!cells_ok(t))
        return ERROR_INVALID;
    struct margins m = margins_of(t);
    struct conditional_family family = {
        .masses = margin_masses, .distribution = &m, .outcome = t->a, .low = m.low, .high = m.high};
    double start = log(((double)t->a + 0.5) * ((double)t->d + 0.5) /
                       (((double)t->b + 0.5) * ((double)t->c + 0.5)));
    return conditional_estimate(&family, start, confidence, ret);
}

int table2_woolf(const struct table2 *t, double confidence, int add_half, struct table2_ratio *ret)
{
    if (!cells_ok(t) || !(confidence > 0 && confidence < 1))
        return ERROR_INVALID;
    bool empty = t->a == 0 || t->b == 0 || t->c == 0 || t->d == 0;
    double h = add_half || empty ? 0.5 : 0.0;
    double a = (double)t->a + h, b = (double)t->b + h, c = (double)t->c + h, d = (double)t->d + h;
    double half = inverse_normal_q(0.5 * (1.0 - confidence)) * sqrt(1 / a + 1 / b + 1 / c + 1 / d);
    ret->ratio = a * d / (b * c);
    ret->limits = (struct interval){ret->ratio * exp(-half), ret->ratio * exp(half)};
    return 0;
}

int table2_risk_ratio(const struct table2 *t, double confidence, struct table2_ratio *ret)
{
    if (!cells_ok(t) || !(confidence > 0 && confidence < 1))
        return ERROR_INVALID;
    double a = (double)t->a, c = (double)t->c, row1 = a + (double)t->b, row2 = c + (double)t->d;
    *ret = (struct table2_ratio){NAN, {NAN, NAN}};
    if (row1 == 0 || row2 == 0 || (a == 0 && c == 0))
        return 0;
    ret->ratio = a / row1 / (c / row2);
    if (a == 0 || c == 0)
        return 0;
    double half =
        inverse_normal_q(0.5 * (1.0 - confidence)) * sqrt(1 / a - 1 / row1 + 1 / c - 1 / row2);
    ret->limits = (struct interval){ret->ratio * exp(-half), ret->ratio * exp(half)};
    return 0;
}

double table2_chi_square(const struct table2 *t)
{
    double a = (double)t->a, b = (double)t->b, c = (double)t->c, d = (double)t->d;
    double margins = (a + b) * (c + d) * (a + c) * (b + d), off = a * d - b * c;
    return margins > 0 ? (a + b + c + d) * off * off / margins : 0.0;
}

int table2_enrichment(long population, long with_factor, long drawn, long hits, struct pvalue *ret)
{
    struct table2 t = {.a = hits, .b = with_factor - hits, .c = drawn - hits};
    t.d = population - with_factor - t.c;
    return table2_test(&t, ret);
}

double table2_log_bayes_factor(const struct table2 *t)
{
    double a = (double)t->a + 1, b = (double)t->b + 1, c = (double)t->c + 1, d = (double)t->d + 1;
    return gsl_sf_lnbeta(a, b) + gsl_sf_lnbeta(c, d) - gsl_sf_lnbeta(a + c - 1, b + d - 1);
}
