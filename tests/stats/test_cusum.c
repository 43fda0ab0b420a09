/* Cumulative sums of counts: run lengths published by J. M. Lucas (1985), recomputed exactly; and
 * by simulation. */
#include "checks.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "base/error.h"
#include "cusum_counts.h"
#include "stats/cusum.h"

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reference_values),
        cmocka_unit_test(poisson_run_lengths),
        cmocka_unit_test(limits_hold_by_simulation),
        cmocka_unit_test(least_limit),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
