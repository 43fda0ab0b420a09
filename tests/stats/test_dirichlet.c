/* Dirichlet-multinomial updating; values recomputed with SciPy, the counts' probability 1/66 by
 * counting the compositions of 10 into 3. */
#include "checks.h"

#include "base/error.h"
#include "stats/dirichlet.h"

static void update_and_marginals(void **state)
{
    (void)state;
    const char *id = "B7-DIRMULT";
    double prior[CHECKS_MAX], counts[CHECKS_MAX], a[3], mean[3], sd[3];
    input_numbers(id, "prior", prior);
    input_numbers(id, "counts", counts);
    assert_int_equal(dirichlet_update(prior, counts, 3, a), 0);
    want_series(id, "posterior", a, 3, 0, 0);
    assert_int_equal(dirichlet_mean(a, 3, mean), 0);
    want_series(id, "mean", mean, 3, 1e-11, 0);
    double want[CHECKS_MAX];
    for (size_t i = 0; i < 3; i++) {
        sd[i] = dirichlet_deviation(a, 3, i);
        struct interval limits = dirichlet_interval(a, 3, i, 0.95);
        numbers(json_array_get(check_wanted(id, "marginal_beta_ci95"), i), want);
        near_value("low", limits.low, want[0], 1e-9, 0);
        near_value("high", limits.high, want[1], 1e-9, 0);
    }
    want_series(id, "sd", sd, 3, 1e-7, 0);
    want_value(id, "log_ml_ordered_sequence", dirichlet_log_sequence(prior, counts, 3));
    want_value(id, "log_pmf_counts", dirichlet_log_counts(prior, counts, 3));
    near_value("1/66", exp(dirichlet_log_counts(prior, counts, 3)), 1.0 / 66.0, 1e-12, 0);
}

static void informative_prior(void **state)
{
    (void)state;
    const char *id = "B7-DIRMULT2";
    double prior[CHECKS_MAX], counts[CHECKS_MAX], a[3], mean[3];
    input_numbers(id, "prior", prior);
    input_numbers(id, "counts", counts);
    assert_int_equal(dirichlet_update(prior, counts, 3, a), 0);
    assert_int_equal(dirichlet_mean(a, 3, mean), 0);
    want_series(id, "mean", mean, 3, 1e-11, 0);
    want_value(id, "log_ml_ordered_sequence", dirichlet_log_sequence(prior, counts, 3));
    want_value(id, "log_pmf_counts", dirichlet_log_counts(prior, counts, 3));
}

static void nonsense(void **state)
{
    (void)state;
    double prior[] = {1, 0}, counts[] = {1, 1}, good[] = {1, 2}, minus[] = {1, -1}, out[2];
    assert_int_equal(dirichlet_update(prior, counts, 2, out), ERROR_INVALID);
    assert_int_equal(dirichlet_update(good, minus, 2, out), ERROR_INVALID);
    assert_int_equal(dirichlet_mean(prior, 2, out), ERROR_INVALID);
    assert_true(isnan(dirichlet_interval(good, 2, 2, 0.95).low));
    assert_true(isnan(dirichlet_log_counts(good, minus, 2)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(update_and_marginals),
        cmocka_unit_test(informative_prior),
        cmocka_unit_test(nonsense),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
