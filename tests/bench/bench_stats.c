/* Time of the statistics that rankings and the weekly pattern call most, in processor microseconds
 * a call. */
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "stats/delay.h"
#include "stats/evidence.h"
#include "stats/mantel.h"
#include "stats/poisson.h"
#include "stats/robust.h"
#include "stats/scan.h"
#include "stats/season.h"
#include "stats/shrink.h"

#define WEEKS 156

static double sink; /* keeps results alive */

static double seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void limits(int i)
{
    sink += poisson_limits(i % 60, 0.95).high;
}

static void compare(int i)
{
    struct poisson_ratio r;
    if (poisson_compare(i % 40, 2.9, 5 + i % 70, 3.1, 0.95, &r) == 0)
        sink += r.p.two_sided;
}

static void strata(int i)
{
    struct mantel_table t[12];
    struct mantel m;
    for (int k = 0; k < 12; k++)
        t[k] = (struct mantel_table){1 + (i + k) % 3, 10 + k, 2 + k % 4, 90 + k};
    if (mantel_test(t, 12, 0.95, &m) == 0)
        sink += m.p;
}

static void posterior(int i)
{
    struct shrink_gamma g = shrink_posterior(shrink_gamma_of(1, 3), i % 20, 4.5);
    struct interval limit = shrink_interval(g, 0.9);
    sink += limit.low;
}

static void bayes_factor(int i)
{
    sink += shrink_log_bayes_factor(shrink_gamma_of(1, 8), shrink_gamma_of(6, 1.5), i % 20, 4.5);
}

static void gain(int i)
{
    double prior[20], likelihood[60], bits;
    for (int c = 0; c < 20; c++) {
        prior[c] = 1 + (c + i) % 5;
        for (int a = 0; a < 3; a++)
            likelihood[20 * a + c] = 1 + (a * c + i) % 7;
    }
    if (evidence_gain_bits(prior, 20, likelihood, 3, &bits) == 0)
        sink += bits;
}

static void median(int i)
{
    double values[200];
    for (int k = 0; k < 200; k++)
        values[k] = (k * 7919 + i) % 1009;
    sink += robust_measure(values, 200).deviation;
}

static void delays(int i)
{
    static double counts[26 * 30];
    static size_t seen[26];
    struct delay_triangle t = {.periods = 26, .delays = 30, .counts = counts, .seen = seen};
    struct delay_curve curve;
    for (size_t k = 0; k < 26 * 30; k++)
        counts[k] = (double)((k * 31 + (size_t)i) % 5);
    for (size_t k = 0; k < 26; k++)
        seen[k] = 26 - k;
    if (delay_fit(&t, NULL, &curve) == 0)
        sink += curve.share[3];
}

static void forecast(int i)
{
    struct delay_forecast f;
    if (delay_forecast(&(struct delay_so_far){i % 50, 0.4, 0.01, 0.1}, (struct delay_prior){4, 0.1},
                       0.9, &f) == 0)
        sink += f.final.high;
}

static void weekly_season(int i)
{
    static double times[WEEKS], counts[WEEKS];
    struct season_design design = season_design_for(WEEKS);
    struct season s;
    for (int k = 0; k < WEEKS; k++) {
        times[k] = k;
        counts[k] = floor(8 + 4 * sin(0.12 * k) + (k * 37 + i) % 9);
    }
    if (season_fit(times, counts, NULL, WEEKS, &design, &s) == 0)
        sink += season_expected(&s, WEEKS, 1, NULL);
}

static void scan(int i)
{
    long counts[168];
    double exposure[168];
    for (int k = 0; k < 168; k++) {
        exposure[k] = 1;
        counts[k] = (k * 13 + i) % 11 == 0;
    }
    counts[80] = counts[81] = counts[82] = 3;
    struct scan_series s = {.counts = counts, .exposure = exposure, .n = 168, .longest = 24};
    struct scan_result r;
    if (scan_intervals(&s, 999, 1, &r) == 0)
        sink += r.p;
}

static void report(const char *name, void (*run)(int i), int times)
{
    double start = seconds();
    for (int i = 0; i < times; i++)
        run(i);
    printf("%-52s %10.2f us\n", name, 1e6 * (seconds() - start) / times);
}

int main(void)
{
    gsl_set_error_handler_off();
    report("exact Poisson limits", limits, 20000);
    report("two counts: ratio, three intervals, p-values", compare, 2000);
    report("12 strata: Mantel-Haenszel, Breslow-Day", strata, 20000);
    report("gamma-Poisson posterior: interval", posterior, 20000);
    report("log Bayes factor of an excess", bayes_factor, 100000);
    report("expected gain of a question, 20 causes, 3 answers", gain, 20000);
    report("median and MAD of 200", median, 20000);
    report("delay curve, 26 periods x 30 delays", delays, 2000);
    report("forecast of a final count", forecast, 5000);
    report("season and trend of 156 weeks", weekly_season, 500);
    report("scan of 168 hours, up to 999 draws", scan, 20);
    return sink > 0 ? 0 : 1;
}
