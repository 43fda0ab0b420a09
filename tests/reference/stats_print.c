/* A calculator over the statistics: reads lines "command number…", answers each with one line of
 * numbers (or "error CODE"). stats_r.R and stats_scipy.py ask it and compare. */
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../stats/cusum_counts.h"
#include "../stats/farrington.h"
#include "base/error.h"
#include "stats/beta.h"
#include "stats/chart.h"
#include "stats/delay.h"
#include "stats/evidence.h"
#include "stats/inverse.h"
#include "stats/mantel.h"
#include "stats/multiplicity.h"
#include "stats/negbin.h"
#include "stats/poisson.h"
#include "stats/robust.h"
#include "stats/scan.h"
#include "stats/score.h"
#include "stats/season.h"

#define ARGUMENTS_MOST 4096

static void answer(const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++)
        printf("%s%.17g", i ? " " : "", values[i]);
    putchar('\n');
}

#define ANSWER(...)                                                                                \
    do {                                                                                           \
        const double values[] = {__VA_ARGS__};                                                     \
        answer(values, sizeof values / sizeof *values);                                            \
    } while (0)

static int limits(const double *a, size_t n)
{
    (void)n;
    struct interval exact = poisson_limits(a[0], a[1]);
    ANSWER(exact.low, exact.high);
    return 0;
}

static int two_counts(const double *a, size_t n)
{
    (void)n;
    struct poisson_ratio r;
    int status = poisson_compare((long)a[0], a[1], (long)a[2], a[3], 0.95, &r);
    if (status == 0)
        ANSWER(r.ratio, r.exact.low, r.exact.high, r.p.two_sided, r.p.less, r.p.greater, r.midp.low,
               r.midp.high);
    return status;
}

static int gamma_quantiles(const double *a, size_t n)
{
    (void)n;
    ANSWER(inverse_gamma_p(a[0], a[1]), inverse_gamma_q(a[0], a[1]));
    return 0;
}

static int beta_quantiles(const double *a, size_t n)
{
    (void)n;
    ANSWER(inverse_beta_p(a[0], a[1], a[2], NULL), inverse_beta_q(a[0], a[1], a[2], NULL));
    return 0;
}

static int negative_binomial(const double *a, size_t n)
{
    (void)n;
    long x = (long)a[0];
    double size = a[2] > 0 ? a[2] : INFINITY;
    ANSWER(negbin_pmf(x, a[1], size), negbin_at_most(x, a[1], size),
           negbin_more_than(x, a[1], size), (double)negbin_quantile(a[3], a[1], size));
    return 0;
}

static struct mantel_table table_at(const double *a)
{
    return (struct mantel_table){(long)a[0], (long)a[1], (long)a[2], (long)a[3]};
}

static int strata(const double *a, size_t n)
{
    struct mantel_table t[64];
    struct mantel m;
    struct pvalue p;
    struct conditional_odds o;
    size_t count = n / 4 < 64 ? n / 4 : 64;
    for (size_t i = 0; i < count; i++)
        t[i] = table_at(a + 4 * i);
    int status = mantel_test(t, count, 0.95, &m);
    if (status == 0)
        status = mantel_exact(t, count, 0.95, &p, &o);
    if (status == 0)
        ANSWER(m.chi_square, m.chi_square_corrected, m.p, m.odds_ratio, m.limits.low, m.limits.high,
               p.two_sided, o.ratio, o.exact.low, o.exact.high);
    return status;
}

static int benjamini(const double *a, size_t n)
{
    double q[ARGUMENTS_MOST];
    int status = multiplicity_benjamini_hochberg(a, n, q);
    if (status == 0)
        answer(q, n);
    return status;
}

/* harmonics trend outlier period when alpha, then times and counts */
static int season(const double *a, size_t n)
{
    size_t weeks = (n - 6) / 2;
    struct season_design d = {
        .harmonics = (int)a[0], .trend = a[1] != 0, .outlier = a[2], .period = a[3]};
    struct season s;
    int status = season_fit(a + 6, a + 6 + weeks, NULL, weeks, &d, &s);
    if (status != 0)
        return status;
    double se, mean = season_expected(&s, a[4], 1.0, &se);
    ANSWER(mean, se, s.dispersion, s.trend, s.trend_p, s.fit.deviance,
           farrington_upper(mean, se, s.dispersion, a[5]));
    return 0;
}

/* delays, then rows by period; -1 where not yet seen */
static int nowcast(const double *a, size_t n)
{
    size_t delays = (size_t)a[0], periods = (n - 1) / delays, seen[256];
    struct delay_triangle t = {.periods = periods, .delays = delays, .counts = a + 1, .seen = seen};
    struct delay_curve curve;
    double expected[256];
    for (size_t i = 0; i < periods; i++)
        for (seen[i] = 0; seen[i] < delays && a[1 + i * delays + seen[i]] >= 0;)
            seen[i]++;
    int status = delay_fit(&t, NULL, &curve);
    for (size_t i = 0; status == 0 && i < periods; i++) {
        struct delay_forecast f;
        double reported = 0;
        for (size_t d = 0; d < seen[i]; d++)
            reported += a[1 + i * delays + d];
        status = delay_forecast(&(struct delay_so_far){reported, curve.share[seen[i] - 1], 0, 0},
                                (struct delay_prior){0, 0}, 0.9, &f);
        expected[i] = f.expected_final;
    }
    if (status == 0)
        answer(expected, periods);
    return status;
}

/* h start ratio actual size(0: Poisson), then expectations */
static int cusum_of_counts(const double *a, size_t n)
{
    double sizes[ARGUMENTS_MOST], length;
    for (size_t i = 0; i < n; i++)
        sizes[i] = a[4];
    struct cusum_counts d = {
        .expected = a + 5, .sizes = a[4] > 0 ? sizes : NULL, .n = n - 5, .ratio = a[2]};
    int status = cusum_counts_run_length(&d, a[0], a[1], a[3], &length);
    if (status == 0)
        ANSWER(length);
    return status;
}

/* causes, prior, then rows of answers */
static int gain(const double *a, size_t n)
{
    size_t causes = (size_t)a[0];
    double bits;
    int status =
        evidence_gain_bits(a + 1, causes, a + 1 + causes, (n - 1 - causes) / causes, &bits);
    if (status == 0)
        ANSWER(bits);
    return status;
}

/* bins, then statements and outcomes */
static int brier(const double *a, size_t n)
{
    size_t count = (n - 1) / 2, bins = (size_t)a[0];
    int y[ARGUMENTS_MOST];
    struct score_bin table_of[64];
    struct score_brier b;
    for (size_t i = 0; i < count; i++)
        y[i] = (int)a[1 + count + i];
    int status = score_brier(a + 1, y, count, bins, &b);
    if (status == 0)
        status = score_calibration(a + 1, y, count, bins, table_of);
    if (status == 0)
        ANSWER(b.score, b.reliability, b.resolution, b.uncertainty,
               score_calibration_error(table_of, bins));
    return status;
}

static int robust(const double *a, size_t n)
{
    double copy[ARGUMENTS_MOST], third;
    memcpy(copy, a, n * sizeof *copy);
    third = robust_quantile(copy, n, 0.3);
    struct robust_scale s = robust_measure(copy, n);
    ANSWER(s.median, s.deviation, third);
    return 0;
}

/* longest draws, then counts and exposures */
static int scan(const double *a, size_t n)
{
    size_t cells = (n - 2) / 2;
    long counts[ARGUMENTS_MOST];
    for (size_t i = 0; i < cells; i++)
        counts[i] = (long)a[2 + i];
    struct scan_series s = {
        .counts = counts, .exposure = a + 2 + cells, .n = cells, .longest = (size_t)a[0]};
    struct scan_result r;
    int status = scan_intervals(&s, (size_t)a[1], 42, &r);
    if (status == 0)
        ANSWER((double)r.first, (double)r.last, r.log_ratio, r.p);
    return status;
}

static const struct command {
    const char *name;
    size_t least; /* arguments */
    int (*run)(const double *a, size_t n);
} commands[] = {
    {"limits", 2, limits},
    {"two-counts", 4, two_counts},
    {"gamma-quantiles", 2, gamma_quantiles},
    {"beta-quantiles", 3, beta_quantiles},
    {"negative-binomial", 4, negative_binomial},
    {"strata", 4, strata},
    {"benjamini", 1, benjamini},
    {"season", 8, season},
    {"nowcast", 2, nowcast},
    {"cusum-counts", 6, cusum_of_counts},
    {"gain", 4, gain},
    {"brier", 3, brier},
    {"robust", 1, robust},
    {"scan", 4, scan},
};

static int run(char *line)
{
    static double arguments[ARGUMENTS_MOST];
    size_t n = 0;
    char *rest, *name = strtok_r(line, " \n", &rest), *word;
    while (name && n < ARGUMENTS_MOST && (word = strtok_r(NULL, " \n", &rest)))
        arguments[n++] = strtod(word, NULL);
    for (size_t i = 0; name && i < sizeof commands / sizeof *commands; i++)
        if (strcmp(commands[i].name, name) == 0 && n >= commands[i].least)
            return commands[i].run(arguments, n);
    return ERROR_NOT_FOUND;
}

int main(void)
{
    char *line = NULL;
    size_t room = 0;
    gsl_set_error_handler_off();
    while (getline(&line, &room, stdin) > 0) {
        int status = run(line);
        if (status != 0)
            printf("error %d\n", status);
    }
    free(line);
    return 0;
}
