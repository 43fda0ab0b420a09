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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_of_a_count), cmocka_unit_test(limits_refuse_nonsense),
        cmocka_unit_test(one_sample),        cmocka_unit_test(two_samples),
        cmocka_unit_test(two_samples_edges), cmocka_unit_test(coal_mines),
        cmocka_unit_test(jeffreys),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
