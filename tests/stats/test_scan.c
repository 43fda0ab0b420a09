/* Kulldorff's scan; best interval and likelihood ratios recomputed with SciPy, the Monte Carlo p
 * against 99,999 draws there. */
#include "checks.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "base/error.h"
#include "stats/scan.h"

static size_t series(const char *id, long *counts, double *exposure)
{
    double values[CHECKS_MAX];
    size_t n = input_numbers(id, "counts", values);
    for (size_t i = 0; i < n; i++)
        counts[i] = (long)values[i];
    input_numbers(id, "exposure", exposure);
    return n;
}

static void likelihood_ratios(void **state)
{
    (void)state;
    static const char *const ids[] = {"S4-LLR-10-3.2", "S4-LLR-5-5", "S4-LLR-60-20", "S4-LLR-0-2"};
    for (size_t i = 0; i < 4; i++)
        want_value(ids[i], "llr",
                   scan_log_ratio(input_number(ids[i], "c"), input_number(ids[i], "E"),
                                  input_number(ids[i], "C")));
}

static void finds_the_weeks(void **state)
{
    (void)state;
    const char *id = "S4-SCAN";
    long counts[CHECKS_MAX];
    double exposure[CHECKS_MAX], want[CHECKS_MAX];
    struct scan_series s = {.counts = counts, .exposure = exposure};
    s.n = series(id, counts, exposure);
    s.longest = (size_t)input_number(id, "max_window");
    struct scan_result r, again;
    assert_int_equal(scan_intervals(&s, 99999, 1, &r), 0);
    wanted_numbers(id, "best_[start,end]", want);
    assert_true(r.first + 1 == (size_t)want[0] && r.last + 1 == (size_t)want[1]);
    want_value(id, "c", r.observed);
    want_value(id, "E", r.expected);
    want_value(id, "llr", r.log_ratio);
    wanted_numbers(id, "mc_p_allowed_range", want);
    assert_true(r.p >= want[0] && r.p <= want[1]);
    assert_int_equal(scan_intervals(&s, 99999, 1, &again), 0);
    assert_true(again.p == r.p && again.draws == r.draws);
    /* split between two groups the same weeks no longer join */
    int group[12] = {0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1};
    s.group = group;
    assert_int_equal(scan_intervals(&s, 999, 1, &r), 0);
    assert_true(r.first == 8 && r.last == 9);
}

/* Nothing planted: small p values come as often as they say. */
static void level_holds(void **state)
{
    (void)state;
    enum { cells = 30, runs = 400 };
    long counts[cells];
    double exposure[cells];
    int below = 0;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (int run = 0; run < runs; run++) {
        for (int i = 0; i < cells; i++) {
            exposure[i] = 0.5 + gsl_rng_uniform(rng);
            counts[i] = gsl_ran_poisson(rng, exposure[i]);
        }
        struct scan_series s = {.counts = counts, .exposure = exposure, .n = cells, .longest = 8};
        struct scan_result r;
        assert_int_equal(scan_intervals(&s, 199, (unsigned long)run + 1, &r), 0);
        below += r.p <= 0.1;
    }
    gsl_rng_free(rng);
    assert_true(below >= 24 && below <= 58); /* 40 expected, three standard errors */
}

static void edges(void **state)
{
    (void)state;
    long counts[] = {0, 3, 0}, none[] = {0, 0, 0};
    double exposure[] = {1, 1, 1}, gap[] = {1, 0, 1};
    struct scan_series s = {.counts = counts, .exposure = exposure, .n = 3, .longest = 2};
    struct scan_result r;
    assert_int_equal(scan_intervals(&s, 99, 1, &r), 0);
    assert_true(r.first == 1 && r.last == 1 && r.p > 0.1);
    s.exposure = gap;
    assert_int_equal(scan_intervals(&s, 99, 1, &r), ERROR_INVALID);
    s = (struct scan_series){.counts = none, .exposure = exposure, .n = 3, .longest = 2};
    assert_int_equal(scan_intervals(&s, 99, 1, &r), ERROR_INVALID);
    s.counts = counts;
    s.longest = 0;
    assert_int_equal(scan_intervals(&s, 99, 1, &r), ERROR_INVALID);
    long even[] = {2, 2, 2};
    s = (struct scan_series){.counts = even, .exposure = exposure, .n = 3, .longest = 3};
    assert_int_equal(scan_intervals(&s, 99, 1, &r), 0);
    assert_true(r.p == 1 && r.log_ratio == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(likelihood_ratios),
        cmocka_unit_test(finds_the_weeks),
        cmocka_unit_test(level_holds),
        cmocka_unit_test(edges),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
