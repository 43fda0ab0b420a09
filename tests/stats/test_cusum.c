/* CUSUM charts: the NIST/SEMATECH e-Handbook example (6.3.2.3); run lengths published by J. M.
 * Lucas & R. B. Crosier (1982) and J. M. Lucas (1985), recomputed exactly; and by simulation. */
#include "checks.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "base/error.h"
#include "stats/cusum.h"

static void handbook_example(void **state)
{
    (void)state;
    const char *id = "C3-CUSUM";
    double x[CHECKS_MAX], high[CHECKS_MAX], low[CHECKS_MAX], want[CHECKS_MAX];
    size_t n = input_numbers(id, "x", x), first = 0;
    cusum_normal_run(x, n, input_number(id, "target"), input_number(id, "k"), high, low);
    for (size_t i = 0; i < n; i++) {
        numbers(json_array_get(check_wanted(id, "rows_[S_hi,S_lo,cusum]"), i), want);
        near_value("high", high[i], want[0], 0, 1e-6);
        near_value("low", low[i], want[1], 0, 1e-6);
        if (!first && high[i] >= input_number(id, "h"))
            first = i + 1;
    }
    want_value(id, "first_signal", (double)first);
}

static void normal_run_lengths(void **state)
{
    (void)state;
    static const char *const ids[] = {"C3-ARL-H4", "C3-ARL-H5", "C3-ARL-H4.77"};
    for (size_t i = 0; i < 3; i++) {
        double shifts[CHECKS_MAX], one[CHECKS_MAX], two[CHECKS_MAX], h = input_number(ids[i], "h");
        size_t n = input_numbers(ids[i], "shifts", shifts);
        for (size_t j = 0; j < n; j++) {
            assert_int_equal(cusum_normal_run_length(0.5, h, 0, shifts[j], &one[j]), 0);
            assert_int_equal(cusum_normal_two_sided(0.5, h, shifts[j], &two[j]), 0);
        }
        want_series(ids[i], "one_sided", one, n, 1e-4, 0);
        want_series(ids[i], "two_sided", two, n, 1e-4, 0);
        double back;
        assert_int_equal(cusum_normal_limit(0.5, two[0], true, &back), 0);
        near_value("limit", back, h, 1e-6, 0);
        assert_int_equal(cusum_normal_limit(0.5, one[0], false, &back), 0);
        near_value("limit", back, h, 1e-6, 0);
    }
}

/* Half head start on both sides: the published values join the sides as if apart. */
static void normal_head_start(void **state)
{
    (void)state;
    static const struct {
        double h;
        const char *key;
    } cases[] = {{4, "h4"}, {5, "h5"}};
    for (size_t i = 0; i < 2; i++) {
        double shifts[CHECKS_MAX], got[CHECKS_MAX], h = cases[i].h;
        size_t n = input_numbers("C3-ARL-FIR", "shifts", shifts);
        for (size_t j = 0; j < n; j++) {
            /* E. Yashchin's identity for a two-sided scheme with head starts */
            double up0, up, down0, down;
            assert_int_equal(cusum_normal_run_length(0.5, h, 0, shifts[j], &up0), 0);
            assert_int_equal(cusum_normal_run_length(0.5, h, h / 2, shifts[j], &up), 0);
            assert_int_equal(cusum_normal_run_length(0.5, h, 0, -shifts[j], &down0), 0);
            assert_int_equal(cusum_normal_run_length(0.5, h, h / 2, -shifts[j], &down), 0);
            got[j] = (up * down0 + down * up0 - up0 * down0) / (up0 + down0);
        }
        want_series("C3-ARL-FIR", cases[i].key, got, n, 2e-3, 0);
    }
}

static void reference_values(void **state)
{
    (void)state;
    size_t i, found = 0;
    json_t *check;
    json_array_foreach(checks_all, i, check)
    {
        const char *id = json_string_value(json_object_get(check, "id"));
        if (strncmp(id, "C3-PK-", 6) != 0)
            continue;
        double low = input_number(id, "mu_acceptable"), high = input_number(id, "mu_detectable");
        want_value(id, "k", cusum_reference(low, high / low, INFINITY));
        near_value("near Poisson", cusum_reference(low, high / low, 1e9),
                   cusum_reference(low, high / low, INFINITY), 1e-7, 0);
        found++;
    }
    assert_int_equal(found, 7);
    assert_true(cusum_reference(4, 2, 3) > cusum_reference(4, 2, INFINITY) * 0.9);
    assert_true(isnan(cusum_reference(4, 1, INFINITY)) && isnan(cusum_reference(-1, 2, 5)));
}

/* A rise whose Poisson reference value is exactly k, found by halving. */
static double ratio_of(double expected, double k)
{
    double low = 1.0 + 1e-9, high = 100;
    for (int i = 0; i < 200; i++) {
        double middle = 0.5 * (low + high);
        if (cusum_reference(expected, middle, INFINITY) < k)
            low = middle;
        else
            high = middle;
    }
    return low;
}

static void poisson_run_lengths(void **state)
{
    (void)state;
    static const struct {
        const char *id;
        double k;
    } cases[] = {{"C3-PCUSUM-k5-h10", 5},
                 {"C3-PCUSUM-k3/2-h5", 1.5},
                 {"C3-PCUSUM-k3-h8", 3},
                 {"C3-PCUSUM-k6-h12", 6},
                 {"C3-PCUSUM-k1-h4", 1}};
    for (size_t i = 0; i < 5; i++) {
        const char *id = cases[i].id;
        double mu0 = input_number(id, "mu0"), mu1 = input_number(id, "mu1"), got[4];
        double h = input_number(id, "h");
        struct cusum_counts d = {.expected = &mu0, .n = 1, .ratio = ratio_of(mu0, cases[i].k)};
        for (int fast = 0; fast < 2; fast++) {
            double start = fast ? h / 2 : 0;
            assert_int_equal(cusum_counts_run_length(&d, h, start, 1, &got[fast]), 0);
            assert_int_equal(cusum_counts_run_length(&d, h, start, mu1 / mu0, &got[2 + fast]), 0);
        }
        static const char *const keys[] = {"arl0", "arl0_fir_h/2", "arl1", "arl1_fir_h/2"};
        for (size_t j = 0; j < 4; j++) {
            json_t *want = json_object_get(check_wanted(id, "signal_when_S>=h"), keys[j]);
            near_value(keys[j], got[j], json_number_value(want), 2e-5, 0);
        }
    }
}

static double draw(gsl_rng *rng, double mean, double size)
{
    double rate = isinf(size) ? mean : gsl_ran_gamma(rng, size, mean / size);
    return gsl_ran_poisson(rng, rate);
}

static double simulated(const struct cusum_counts *d, double h, double actual, int runs,
                        unsigned long seed)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, seed);
    double total = 0;
    for (int run = 0; run < runs; run++) {
        double s = 0;
        for (size_t t = 0;; t++) {
            size_t i = t % d->n;
            double size = d->sizes ? d->sizes[i] : INFINITY;
            total += 1;
            s = fmax(0, s + draw(rng, actual * d->expected[i], size) -
                            cusum_reference(d->expected[i], d->ratio, size));
            if (s >= h)
                break;
        }
    }
    gsl_rng_free(rng);
    return total / runs;
}

/* Stated run lengths hold within 10 % with the season in, overdispersed or not. */
static void limits_hold_by_simulation(void **state)
{
    (void)state;
    enum { weeks = 52 };
    static const double means[] = {0.4, 3, 40}, ratios[] = {3, 2, 1.3};
    double expected[weeks], sizes[weeks];
    for (size_t m = 0; m < 3; m++)
        for (int spread = 0; spread < 2; spread++) {
            for (int i = 0; i < weeks; i++) {
                expected[i] = means[m] * exp(0.5 * sin(2 * M_PI * i / weeks));
                sizes[i] = expected[i] / 0.6; /* variance 1.6 times the mean */
            }
            struct cusum_counts d = {.expected = expected,
                                     .sizes = spread ? sizes : NULL,
                                     .n = weeks,
                                     .ratio = ratios[m]};
            double h, stated, raised;
            assert_int_equal(cusum_counts_limit(&d, 200, &h), 0);
            assert_int_equal(cusum_counts_run_length(&d, h, 0, 1, &stated), 0);
            near_value("run length of the limit", stated, 200, 0.1, 0);
            near_value("in control", simulated(&d, h, 1, 4000, 5), stated, 0.06, 0);
            assert_int_equal(cusum_counts_run_length(&d, h, 0, d.ratio, &raised), 0);
            near_value("raised", simulated(&d, h, d.ratio, 4000, 6), raised, 0.05, 0.2);
            assert_true(raised < stated / 6);
        }
}

/* 300 a week against a rise by half: one week above the reference is already rarer than asked. */
static void least_limit(void **state)
{
    (void)state;
    double mean = 300, h, length;
    struct cusum_counts d = {.expected = &mean, .n = 1, .ratio = 1.5};
    assert_int_equal(cusum_counts_limit(&d, 200, &h), 0);
    assert_true(h == 0.5);
    assert_int_equal(cusum_counts_run_length(&d, h, 0, 1, &length), 0);
    assert_true(length > 10000);
    assert_int_equal(cusum_counts_run_length(&d, 1e-3, 0, 1, &length), ERROR_INVALID);
    assert_int_equal(cusum_counts_limit(&d, 1e7, &h), ERROR_INVALID);
}

static void normal_by_simulation(void **state)
{
    (void)state;
    double h, length = 0;
    assert_int_equal(cusum_normal_limit(0.5, 300, false, &h), 0);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (int run = 0; run < 4000; run++) {
        double s = 0;
        for (int t = 1; s < h; t++) {
            s = fmax(0, s + gsl_ran_ugaussian(rng) - 0.5);
            length += 1;
        }
    }
    gsl_rng_free(rng);
    near_value("simulated", length / 4000, 300, 0.06, 0);
}

static void run_over_counts(void **state)
{
    (void)state;
    double expected[] = {2, 2, 2, 2, 2, 2, 2, 2}, x[] = {2, 1, 3, 2, 6, 5, 7, 6}, sums[8];
    struct cusum_counts d = {.expected = expected, .n = 8, .ratio = 2};
    struct cusum_state s;
    assert_int_equal(cusum_counts_run(&d, x, 8, &s, sums), 0);
    assert_true(s.signal && s.since == 4 && s.observed == 24 && s.expected == 8);
    near_value("sum", s.sum, 24 - 4 * cusum_reference(2, 2, INFINITY), 1e-12, 0);
    x[7] = 0;
    x[6] = x[5] = x[4] = 0;
    assert_int_equal(cusum_counts_run(&d, x, 8, &s, NULL), 0);
    assert_true(!s.signal && s.sum == 0 && s.since == 8);
    x[3] = NAN;
    assert_int_equal(cusum_counts_run(&d, x, 8, &s, NULL), ERROR_INVALID);
    d.ratio = 1;
    assert_int_equal(cusum_counts_limit(&d, 100, sums), ERROR_INVALID);
    double zero = 0;
    struct cusum_counts none = {.expected = &zero, .n = 1, .ratio = 2};
    assert_int_equal(cusum_counts_run_length(&none, 3, 0, 1, sums), ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(handbook_example),     cmocka_unit_test(normal_run_lengths),
        cmocka_unit_test(normal_head_start),    cmocka_unit_test(reference_values),
        cmocka_unit_test(poisson_run_lengths),  cmocka_unit_test(limits_hold_by_simulation),
        cmocka_unit_test(normal_by_simulation), cmocka_unit_test(least_limit),
        cmocka_unit_test(run_over_counts),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
