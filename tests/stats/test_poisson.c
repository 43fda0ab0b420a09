/* Exact Poisson statistics against Garwood (1936), R's poisson.test and SciPy. */
#include "checks.h"

#include "base/error.h"
#include "stats/inverse.h"
#include "stats/poisson.h"

static void limits_of_a_count(void **state)
{
    (void)state;
    size_t i, found = 0;
    json_t *check;
    json_array_foreach(checks_all, i, check)
    {
        const char *id = json_string_value(json_object_get(check, "id"));
        if (strncmp(id, "P1-GARWOOD-", 11) != 0)
            continue;
        double count = input_number(id, "count");
        want_interval(id, "exact95", poisson_limits(count, 0.95));
        want_interval(id, "exact90", poisson_limits(count, 0.90));
        want_interval(id, "exact99", poisson_limits(count, 0.99));
        want_interval(id, "midp95", poisson_limits_midp(count, 0.95));
        found++;
    }
    assert_true(found >= 25);
}

static void limits_refuse_nonsense(void **state)
{
    (void)state;
    assert_true(isnan(poisson_limits(-1, 0.95).high));
    assert_true(isnan(poisson_limits(NAN, 0.95).low));
    assert_true(isnan(poisson_limits(3, 1.0).low));
    assert_true(isnan(poisson_limits_midp(3, 0).low));
    struct interval tiny = poisson_limits(0.02, 0.95);
    assert_true(tiny.low >= 0 && tiny.high > 3.6 && tiny.high < 3.8);
}

/* R's help page of poisson.test: 137 events in 24.19893 against rate 1. */
static void one_sample(void **state)
{
    (void)state;
    const char *id = "P1-PT1";
    double count = input_number(id, "count"), exposure = input_number(id, "exposure");
    want_value(id, "rate", count / exposure);
    struct interval limits = poisson_limits(count, 0.95);
    limits.low /= exposure;
    limits.high /= exposure;
    want_interval(id, "ci95", limits);
    struct pvalue p;
    assert_int_equal(poisson_test((long)count, exposure, &p), 0);
    assert_true(p.two_sided < 2.2e-16 && p.two_sided > 0);
    assert_true(p.greater < 1e-15 && p.less > 0.999);
}

static void one_sample_by_enumeration(void **state)
{
    (void)state;
    static const double means[] = {0.3, 1.0, 2.5, 6.0, 17.3};
    for (size_t m = 0; m < sizeof means / sizeof *means; m++)
        for (long x = 0; x < 40; x++) {
            double sum = 0, less = 0, greater = 0, at = 0;
            for (int k = 0; k < 150; k++) {
                double mass = exp(k * log(means[m]) - means[m] - lgamma(k + 1.0));
                double seen = exp((double)x * log(means[m]) - means[m] - lgamma((double)x + 1.0));
                sum += mass <= seen * (1 + PVALUE_TIE) ? mass : 0;
                less += k <= x ? mass : 0;
                greater += k >= x ? mass : 0;
                at = k == x ? mass : at;
            }
            struct pvalue p;
            assert_int_equal(poisson_test(x, means[m], &p), 0);
            near_value("two-sided", p.two_sided, sum, 1e-9, 1e-14);
            near_value("less", p.less, less, 1e-9, 0);
            near_value("greater", p.greater, greater, 1e-9, 1e-14);
            near_value("mid-P greater", p.midp_greater, greater - at / 2, 1e-9, 1e-14);
        }
}

static void want_p(const char *id, const struct pvalue *p)
{
    want_value(id, "p_two_sided_minlik", p->two_sided);
    want_value(id, "p_less", p->less);
    want_value(id, "p_greater", p->greater);
    want_value(id, "p_two_sided_doubled", p->doubled);
    want_value(id, "midp_two_sided_doubled", p->midp_doubled);
}

static void two_samples(void **state)
{
    (void)state;
    static const char *const ids[] = {"P1-RR-BROADBENT", "P1-RR-FLUORO", "P1-RR-BEFOREAFTER",
                                      "P1-RR-SMALL", "P1-RR-ZERO"};
    for (size_t i = 0; i < sizeof ids / sizeof *ids; i++) {
        struct poisson_ratio r;
        assert_int_equal(
            poisson_compare((long)input_number(ids[i], "x1"), input_number(ids[i], "t1"),
                            (long)input_number(ids[i], "x2"), input_number(ids[i], "t2"), 0.95, &r),
            0);
        want_value(ids[i], "rate_ratio", r.ratio);
        want_p(ids[i], &r.p);
        want_interval(ids[i], "ci95_exact", r.exact);
        want_interval(ids[i], "ci95_midp", r.midp);
    }
    struct poisson_ratio r;
    assert_int_equal(poisson_compare(18, 2.9, 42, 3.1, 0.95, &r), 0);
    want_interval("P1-WALD", "ci95", r.wald);
}

static void two_samples_edges(void **state)
{
    (void)state;
    struct poisson_ratio r;
    assert_int_equal(poisson_compare(0, 1, 0, 2, 0.95, &r), 0);
    assert_true(isnan(r.ratio) && r.p.two_sided == 1 && r.exact.low == 0 && isinf(r.exact.high));
    assert_int_equal(poisson_compare(5, 1, 0, 2, 0.95, &r), 0);
    assert_true(isinf(r.ratio) && isinf(r.exact.high) && r.exact.low > 0 && isnan(r.wald.low));
    assert_int_equal(poisson_compare(-1, 1, 0, 2, 0.95, &r), ERROR_INVALID);
    assert_int_equal(poisson_compare(1, 0, 1, 2, 0.95, &r), ERROR_INVALID);
    /* a whole year of a large company: still finite and ordered */
    assert_int_equal(poisson_compare(200000, 812.5, 201500, 815.2, 0.95, &r), 0);
    assert_true(r.exact.low < r.ratio && r.ratio < r.exact.high && r.p.two_sided > 0);
}

static void posterior_of_a_lower_rate(void **state)
{
    (void)state;
    want_value("P1-CPLE", "prob", poisson_probability_lower(18, 2.9, 42, 3.1));
    near_value("swapped", poisson_probability_lower(42, 3.1, 18, 2.9), 1 - 0.998025523087, 1e-8, 0);
}

/* British coal-mining explosions 1851-1962: 127 in 41 years, then 64 in 71. */
static void coal_mines(void **state)
{
    (void)state;
    struct poisson_ratio r;
    assert_int_equal(poisson_compare(127, 41, 64, 71, 0.95, &r), 0);
    want_value("E6-COAL", "rate_ratio", r.ratio);
    want_interval("E6-COAL", "rr_ci95_exact", r.exact);
}

/* Jeffreys interval: Gamma(x + 1/2). */
static void jeffreys(void **state)
{
    (void)state;
    static const char *const ids[] = {"E6-JEFF-0", "E6-JEFF-1", "E6-JEFF-5", "E6-JEFF-20"};
    for (size_t i = 0; i < 4; i++) {
        double shape = input_number(ids[i], "count") + 0.5;
        double got[] = {inverse_gamma_p(0.025, shape), inverse_gamma_p(0.5, shape),
                        inverse_gamma_q(0.025, shape)};
        want_series(ids[i], "q025,q50,q975", got, 3, 1e-9, 0);
    }
}

static void quantiles(void **state)
{
    (void)state;
    /* R qpois(c(.95,.99,.999), 5) = 9 11 13 */
    assert_int_equal(poisson_quantile(0.95, 5), 9);
    assert_int_equal(poisson_quantile(0.99, 5), 11);
    assert_int_equal(poisson_quantile(0.999, 5), 13);
    assert_int_equal(poisson_quantile_upper(0.05, 5), 9);
    assert_int_equal(poisson_quantile(0.5, 0), 0);
    assert_int_equal(poisson_quantile(1.0, 5), -1);
    assert_int_equal(poisson_quantile(0.5, -1), -1);
    /* limits of the NIST c chart data (mean 16) at 0.00135 each side: below 5 or above 29 */
    assert_int_equal(poisson_quantile_upper(0.00135, 16), 29);
    assert_int_equal(poisson_quantile(0.00135, 16), 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_of_a_count),
        cmocka_unit_test(limits_refuse_nonsense),
        cmocka_unit_test(one_sample),
        cmocka_unit_test(one_sample_by_enumeration),
        cmocka_unit_test(two_samples),
        cmocka_unit_test(two_samples_edges),
        cmocka_unit_test(posterior_of_a_lower_rate),
        cmocka_unit_test(coal_mines),
        cmocka_unit_test(jeffreys),
        cmocka_unit_test(quantiles),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
