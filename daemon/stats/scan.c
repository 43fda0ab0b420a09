#include "stats/scan.h"

#include <assert.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"

/* J. Besag & P. Clifford, "Sequential Monte Carlo p-values", Biometrika 78 (1991) 301-304: so many
 * draws at least as extreme settle that a p is not small. */
#define ENOUGH 20

#define TIE 1e-10

double scan_log_ratio(double observed, double expected, double total)
{
    if (!(observed > expected) || !(expected > 0))
        return 0.0;
    double rest = total - observed, rest_expected = total - expected;
    double inside = observed * log(observed / expected);
    return rest > 0 ? inside + rest * log(rest / rest_expected) : inside;
}

struct cells {
    const struct scan_series *series;
    double *expected, *shares;
    unsigned *drawn;
    unsigned total;
};

static int prepare(const struct scan_series *s, struct cells *c)
{
    double total = 0, exposure = 0;
    for (size_t i = 0; i < s->n; i++) {
        double e = s->exposure[i];
        if (s->counts[i] < 0 || !(e >= 0) || (e == 0 && s->counts[i] > 0))
            return ERROR_INVALID;
        total += (double)s->counts[i];
        exposure += e;
    }
    if (!(total > 0) || !(total < INT_MAX) || !(exposure > 0) || !isfinite(exposure) ||
        s->longest == 0)
        return ERROR_INVALID;
    *c = (struct cells){.series = s, .total = (unsigned)total};
    c->expected = xcalloc(s->n, sizeof *c->expected);
    c->shares = xcalloc(s->n, sizeof *c->shares);
    c->drawn = xcalloc(s->n, sizeof *c->drawn);
    for (size_t i = 0; i < s->n; i++) {
        c->shares[i] = s->exposure[i] / exposure;
        c->expected[i] = c->shares[i] * total;
        c->drawn[i] = (unsigned)s->counts[i];
    }
    return 0;
}

/* Best interval of the counts in `drawn`. */
static void best(const struct cells *c, struct scan_result *r)
{
    assert(c->total > 0 && c->series->longest > 0);
    const struct scan_series *s = c->series;
    *r = (struct scan_result){0};
    for (size_t i = 0; i < s->n; i++) {
        double observed = 0, expected = 0;
        for (size_t j = i; j < s->n && j - i < s->longest; j++) {
            if (s->group && s->group[j] != s->group[i])
                break;
            observed += c->drawn[j];
            expected += c->expected[j];
            if (c->drawn[j] == 0 || observed <= expected)
                continue; /* an empty last cell never makes an interval better */
            if (observed * (observed - expected) <= r->log_ratio * expected)
                continue; /* log x <= x - 1: cannot beat the best, no need for logarithms */
            double ratio = scan_log_ratio(observed, expected, c->total);
            if (ratio > r->log_ratio * (1.0 + TIE))
                *r = (struct scan_result){i, j, observed, expected, ratio, 1.0, 0};
        }
    }
}

/* The total scattered over the cells by exposure: one by one while they are few. */
static void scatter(struct cells *c, const gsl_ran_discrete_t *table, gsl_rng *rng)
{
    assert(c->total > 0);
    size_t n = c->series->n;
    if (c->total > 4 * n) {
        gsl_ran_multinomial(rng, n, c->total, c->shares, c->drawn);
        return;
    }
    memset(c->drawn, 0, n * sizeof *c->drawn);
    for (unsigned i = 0; i < c->total; i++)
        c->drawn[gsl_ran_discrete(rng, table)]++;
}

static void test(struct cells *c, size_t draws, const gsl_ran_discrete_t *table, gsl_rng *rng,
                 struct scan_result *r)
{
    size_t as_extreme = 0, made = 0;
    while (made < draws && as_extreme < ENOUGH) {
        struct scan_result drawn;
        scatter(c, table, rng);
        best(c, &drawn);
        as_extreme += drawn.log_ratio >= r->log_ratio * (1.0 - TIE);
        made++;
    }
    assert(made <= draws && as_extreme <= made);
    r->draws = made;
    r->p = as_extreme >= ENOUGH ? (double)as_extreme / (double)made
                                : (double)(as_extreme + 1) / (double)(made + 1);
}

int scan_intervals(const struct scan_series *series, size_t draws, unsigned long seed,
                   struct scan_result *ret)
{
    struct cells c;
    if (prepare(series, &c) != 0)
        return ERROR_INVALID;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_ran_discrete_t *table = gsl_ran_discrete_preproc(series->n, c.shares);
    int status = rng && table ? 0 : ERROR_MEMORY;
    if (status == 0) {
        struct scan_result r;
        gsl_rng_set(rng, seed);
        best(&c, &r);
        if (r.log_ratio > 0)
            test(&c, draws, table, rng, &r);
        else
            r.p = 1.0;
        *ret = r;
    }
    gsl_ran_discrete_free(table);
    gsl_rng_free(rng);
    free(c.expected);
    free(c.shares);
    free(c.drawn);
    return status;
}
