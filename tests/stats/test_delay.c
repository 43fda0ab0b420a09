/* Reporting delays: right-truncated product limits; haemolytic-uraemic syndrome in the German O104
 * outbreak 2011 (R package surveillance, object husO104Hosp); coverage by simulation. */
#include "checks.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <stdlib.h>

#include "base/error.h"
#include "stats/delay.h"
#include "stats/negbin.h"

static void reverse_hazard(void **state)
{
    (void)state;
    const char *id = "D5-REVHAZ";
    json_t *rows = check_input(id, "incremental_counts_week_by_delay");
    size_t n = json_array_size(rows), seen[6];
    double counts[36] = {0}, reported[6] = {0}, expected[6];
    for (size_t i = 0; i < n; i++) {
        seen[i] = numbers(json_array_get(rows, i), counts + i * n);
        for (size_t d = 0; d < seen[i]; d++)
            reported[i] += counts[i * n + d];
    }
    struct delay_triangle t = {.periods = n, .delays = n, .counts = counts, .seen = seen};
    struct delay_curve curve;
    struct delay_forecast f;
    assert_int_equal(delay_fit(&t, NULL, &curve), 0);
    want_series(id, "F", curve.share, n, 1e-10, 0);
    for (size_t i = 0; i < n; i++) {
        double share = curve.share[seen[i] - 1];
        assert_int_equal(delay_forecast(&(struct delay_so_far){reported[i], share, 0, 0},
                                        (struct delay_prior){0, 0}, 0.95, &f),
                         0);
        expected[i] = f.expected_final;
        assert_false(f.too_early);
    }
    want_series(id, "nowcast", expected, n, 1e-10, 0);
    double want[CHECKS_MAX]; /* the newest week, curve taken as known */
    wanted_numbers(id, "nb_missing_q025_q50_q975_last", want);
    double mean = f.expected_final - f.reported;
    near_value("low", (double)negbin_quantile(0.025, mean, f.size), want[0], 0, 0);
    near_value("high", (double)negbin_quantile_upper(0.025, mean, f.size), want[2], 0, 0);
    long low = (long)(f.final.low - f.reported), high = (long)(f.final.high - f.reported);
    assert_true(low >= (long)want[0] && high <= (long)want[2] && low < high);
    double held = negbin_at_most(high, mean, f.size) - negbin_at_most(low - 1, mean, f.size);
    assert_true(held >= 0.95); /* and none of its ends could be spared */
    assert_true(held - negbin_pmf(low, mean, f.size) < 0.95);
    assert_true(held - negbin_pmf(high, mean, f.size) < 0.95);
    near_value("age 1", delay_share(&curve, 1), curve.share[0], 1e-15, 0);
    near_value("age 1.5", delay_share(&curve, 1.5), (curve.share[0] + curve.share[1]) / 2, 1e-15,
               0);
    assert_true(delay_share(&curve, 0) == 0 && delay_share(&curve, 99) == 1);
    assert_true(delay_log_variance(&curve, 99) == 0 && delay_log_variance(&curve, 1) > 0);
}

/* One row a report: the reversed Lynden-Bell estimate. */
static void right_truncated_product_limit(void **state)
{
    (void)state;
    const char *id = "D5-RTPL";
    double x[CHECKS_MAX], truncation[CHECKS_MAX], counts[12 * 8] = {0};
    size_t n = input_numbers(id, "x", x), seen[12];
    input_numbers(id, "trunc", truncation);
    for (size_t i = 0; i < n; i++) {
        seen[i] = (size_t)fmin(8, truncation[i] + 1);
        counts[i * 8 + (size_t)x[i]] = 1;
    }
    struct delay_triangle t = {.periods = n, .delays = 8, .counts = counts, .seen = seen};
    struct delay_curve curve;
    assert_int_equal(delay_fit(&t, NULL, &curve), 0);
    want_series(id, "F_at_1..7", curve.share + 1, 7, 1e-10, 0);
}

static void hospital_reports(void **state)
{
    (void)state;
    const char *id = "D5-HUS", *day, *delay;
    enum { delays = 16 };
    size_t snapshot = (size_t)input_number(id, "snapshot_day");
    size_t *seen = calloc(snapshot + 1, sizeof *seen);
    double *counts = calloc((snapshot + 1) * delays, sizeof *counts);
    json_t *days = check_input(id, "counts_[event_day][delay_days]"), *row, *count;
    for (size_t i = 0; i <= snapshot; i++)
        seen[i] = snapshot - i + 1 < delays ? snapshot - i + 1 : delays;
    json_object_foreach(days, day, row) json_object_foreach(row, delay, count)
        counts[(size_t)atoi(day) * delays + (size_t)atoi(delay)] = json_number_value(count);
    struct delay_triangle t = {
        .periods = snapshot + 1, .delays = delays, .counts = counts, .seen = seen};
    struct delay_curve curve;
    assert_int_equal(delay_fit(&t, NULL, &curve), 0);
    want_series(id, "F", curve.share, delays, 1e-6, 1e-9);
    struct delay_unlike unlike = {0};
    delay_unlike_add(&t, &curve, &unlike);
    assert_true(delay_unlike(&unlike) > 0); /* day of the week and shortening delays show up */
    struct delay_forecast f; /* 05-30: 5 reported, 26 in the end; the newest days are flagged */
    assert_int_equal(delay_forecast(&(struct delay_so_far){5, curve.share[3], curve.log_variance[3],
                                                           delay_unlike(&unlike)},
                                    (struct delay_prior){0, 0}, 0.9, &f),
                     0);
    assert_true(f.too_early && f.final.low <= 26 && f.final.high >= 26);
    free(seen);
    free(counts);
}

static void edges(void **state)
{
    (void)state;
    double counts[] = {3, 2, 0, 4, 0, 0}, prior[] = {10, 5, 5};
    size_t seen[] = {3, 1};
    struct delay_triangle t = {.periods = 2, .delays = 3, .counts = counts, .seen = seen};
    struct delay_curve plain, leaning;
    assert_int_equal(delay_fit(&t, NULL, &plain), 0);
    assert_int_equal(delay_fit(&t, prior, &leaning), 0);
    assert_true(plain.share[1] == 1 && leaning.share[1] < 1 && leaning.share[2] == 1);
    seen[0] = 4;
    assert_int_equal(delay_fit(&t, NULL, &plain), ERROR_INVALID);
    seen[0] = 3;
    counts[0] = -1;
    assert_int_equal(delay_fit(&t, NULL, &plain), ERROR_INVALID);
    struct delay_triangle none = {.periods = 0, .delays = 3, .counts = counts, .seen = seen};
    assert_int_equal(delay_fit(&none, NULL, &plain), ERROR_INVALID);
    assert_int_equal(delay_fit(&none, prior, &plain), 0);
    const double no_counts[] = {-1, NAN};
    for (size_t i = 0; i < 2; i++) {
        prior[1] = no_counts[i];
        assert_int_equal(delay_fit(&none, prior, &plain), ERROR_INVALID);
    }
    struct delay_forecast f;
    struct delay_prior flat = {0, 0};
    assert_int_equal(delay_forecast(&(struct delay_so_far){0, 0.5, 0, 0}, flat, 0.9, &f), 0);
    assert_true(f.expected_final == 0 && f.final.low == 0 && f.final.high >= 3);
    assert_int_equal(delay_forecast(&(struct delay_so_far){7, 1, 0, 0}, flat, 0.9, &f), 0);
    assert_true(f.expected_final == 7 && f.final.low == 7 && f.final.high == 7);
    assert_int_equal(delay_forecast(&(struct delay_so_far){0, 0, 0, 0}, flat, 0.9, &f),
                     ERROR_INVALID);
    assert_int_equal(
        delay_forecast(&(struct delay_so_far){0, 0, 0, 0}, (struct delay_prior){4, 0.5}, 0.9, &f),
        0);
    near_value("prior alone", f.expected_final, 8, 1e-12, 0);
    assert_int_equal(delay_forecast(&(struct delay_so_far){1, 1.5, 0, 0}, flat, 0.9, &f),
                     ERROR_INVALID);
}

/* A history: means vary by period (gamma, `spread`), delays by a fixed law blurred per period. */
struct law {
    double mean, blur;
    size_t periods, delays;
};

static void simulate(gsl_rng *rng, const struct law *of, double *counts, double *final)
{
    size_t periods = of->periods, delays = of->delays;
    double blur = of->blur;
    static const double law[] = {0.18, 0.27, 0.2, 0.14, 0.1, 0.06, 0.03, 0.02};
    for (size_t i = 0; i < periods; i++) {
        double total = of->mean * gsl_ran_gamma(rng, 6, 1.0 / 6), weights[8], sum = 0;
        for (size_t d = 0; d < delays; d++)
            sum += weights[d] = law[d] * (blur > 0 ? gsl_ran_gamma(rng, 1 / blur, blur) : 1.0);
        final[i] = 0;
        for (size_t d = 0; d < delays; d++) {
            counts[i * delays + d] = gsl_ran_poisson(rng, total * weights[d] / sum);
            final[i] += counts[i * delays + d];
        }
    }
}

static double coverage(double mean, double blur, unsigned long seed)
{
    enum { periods = 26, delays = 8, runs = 400 };
    double counts[periods * delays], final[periods];
    size_t seen[periods], inside = 0, tried = 0;
    const struct law law = {mean, blur, periods, delays};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, seed);
    for (size_t i = 0; i < periods; i++)
        seen[i] = periods - i < delays ? periods - i : delays;
    struct delay_triangle t = {
        .periods = periods, .delays = delays, .counts = counts, .seen = seen};
    for (int run = 0; run < runs; run++) {
        simulate(rng, &law, counts, final);
        struct delay_curve curve;
        assert_int_equal(delay_fit(&t, NULL, &curve), 0);
        for (size_t i = periods - 4; i < periods; i++) {
            double reported = 0;
            for (size_t d = 0; d < seen[i]; d++)
                reported += counts[i * delays + d];
            struct delay_forecast f;
            struct delay_prior prior = {6, 6 / mean}; /* what the finished periods show */
            size_t d = seen[i] - 1;
            struct delay_unlike unlike = {0};
            delay_unlike_add(&t, &curve, &unlike);
            assert_int_equal(
                delay_forecast(&(struct delay_so_far){reported, curve.share[d],
                                                      curve.log_variance[d], delay_unlike(&unlike)},
                               prior, 0.9, &f),
                0);
            inside += final[i] >= f.final.low && final[i] <= f.final.high;
            tried++;
        }
    }
    gsl_rng_free(rng);
    return (double)inside / (double)tried;
}

/* 90 % intervals of the four newest periods cover 85 to 96 % (counts are discrete: a little over).
 */
static void intervals_cover(void **state)
{
    (void)state;
    static const double means[] = {12, 60, 300};
    for (size_t m = 0; m < 3; m++)
        for (int blurred = 0; blurred < 2; blurred++) {
            double share = coverage(means[m], blurred ? 0.04 : 0, 7 + m);
            /* that delays do not differ is believed late: large counts show it */
            if (!(share > 0.85 && share < (blurred || means[m] < 100 ? 0.965 : 0.995)))
                fail_msg("mean %g, blurred %d: covered %.3f", means[m], blurred, share);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reverse_hazard),   cmocka_unit_test(right_truncated_product_limit),
        cmocka_unit_test(hospital_reports), cmocka_unit_test(edges),
        cmocka_unit_test(intervals_cover),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
