/* Quantiles where GSL's own inverses fail: correct values by R 4.2.2 qbeta and qgamma. */
#include "checks.h"

#include <gsl/gsl_cdf.h>

#include "base/error.h"
#include "stats/beta.h"
#include "stats/inverse.h"
#include "stats/solve.h"

static void beta_quantiles_for_per_million_denominators(void **state)
{
    (void)state;
    double want[CHECKS_MAX], rest;
    wanted_numbers("G10-BETAINV", "correct", want);
    near_value("Q .025 (5, 1e6)", inverse_beta_q(0.025, 5, 1e6, NULL), want[0], 1e-9, 0);
    near_value("P .975 (6, 99995)", inverse_beta_p(0.975, 6, 99995, &rest), want[1], 1e-9, 0);
    near_value("complement", rest, 1.0 - want[1], 1e-12, 0);
    near_value("P .025 (42, 2999959)", inverse_beta_p(0.025, 42, 2999959, NULL), want[2], 1e-9, 0);
}

static void gamma_quantiles_for_small_shapes(void **state)
{
    (void)state;
    double want[CHECKS_MAX];
    wanted_numbers("G10-GAMMAINV", "correct", want);
    near_value("P .025 shape .1", inverse_gamma_p(0.025, 0.1), want[0], 1e-8, 0);
    near_value("P .025 shape .05", inverse_gamma_p(0.025, 0.05), want[1], 1e-8, 0);
    near_value("Q .975 shape .01", inverse_gamma_q(0.975, 0.01), want[2], 1e-8, 0);
    near_value("Q .025 shape .001", inverse_gamma_q(0.025, 0.001), want[3], 1e-8, 0);
}

static void quantiles_invert_the_distribution_functions(void **state)
{
    (void)state;
    static const double shapes[] = {1e-3, 0.02, 0.3, 0.5, 1, 1.7, 5, 42, 300, 1e4, 1e6};
    static const double tails[] = {1e-12, 1e-6, 1e-3, 0.025, 0.3, 0.5, 0.8, 0.999};
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++)
        for (size_t j = 0; j < sizeof tails / sizeof *tails; j++) {
            double x = inverse_gamma_p(tails[j], shapes[i]);
            if (x > 1e-290)
                near_value("gamma P", gsl_cdf_gamma_P(x, shapes[i], 1), tails[j],
                           shapes[i] < 1e5 ? 1e-7 : 1e-3, 0);
            x = inverse_gamma_q(tails[j], shapes[i]);
            if (x > 1e-290)
                near_value("gamma Q", gsl_cdf_gamma_Q(x, shapes[i], 1), tails[j],
                           shapes[i] < 1e5 ? 1e-7 : 1e-3, 0);
            for (size_t k = 3; k < sizeof shapes / sizeof *shapes; k++) {
                double rest;
                x = inverse_beta_p(tails[j], shapes[i], shapes[k], &rest);
                if (x < 1e-290)
                    continue;
                double back = beta_lower(x, rest, shapes[i], shapes[k]);
                near_value("beta P", back, tails[j], 1e-7, 0);
            }
        }
}

/* R 4.2.2: qbeta(.025, 1e6, 1e6), qbeta(.025, 2e5, 2.015e5), qbeta(1e-12, 1e6, .5) */
static void beta_of_very_large_shapes(void **state)
{
    (void)state;
    near_value("1e6, 1e6", inverse_beta_p(0.025, 1e6, 1e6, NULL), 0.499307048334, 1e-11, 0);
    near_value("2e5", inverse_beta_p(0.025, 2e5, 2.015e5, NULL), 0.496585436887, 1e-11, 0);
    near_value("tail", inverse_beta_p(1e-12, 1e6, 0.5, NULL), 0.999974578253, 1e-11, 0);
}

static void edges_and_nonsense(void **state)
{
    (void)state;
    double rest;
    assert_true(inverse_gamma_p(0, 2) == 0 && inverse_gamma_q(1, 2) == 0);
    assert_true(isinf(inverse_gamma_p(1, 2)) && isinf(inverse_gamma_q(0, 2)));
    assert_true(inverse_beta_p(0, 2, 3, &rest) == 0 && rest == 1);
    assert_true(inverse_beta_q(0, 2, 3, &rest) == 1 && rest == 0);
    assert_true(isnan(inverse_gamma_p(0.5, 0)) && isnan(inverse_gamma_p(NAN, 1)));
    assert_true(isnan(inverse_beta_p(0.5, -1, 1, NULL)) && isnan(inverse_beta_p(2, 1, 1, NULL)));
}

static double cubic(double x, void *context)
{
    return x * x * x - *(double *)context;
}

static void roots(void **state)
{
    (void)state;
    double target = 10, at = 0;
    assert_int_equal(solve_bracketed(cubic, &target, 0, 4, 1e-14, &at), 0);
    near_value("cube root", at, cbrt(10), 1e-13, 0);
    assert_int_equal(
        solve_monotone(cubic, &target, (struct solve_range){-50, 0.1, -1000, 1000}, 1e-14, &at), 0);
    near_value("cube root from afar", at, cbrt(10), 1e-12, 0);
    assert_int_equal(solve_bracketed(cubic, &target, 3, 4, 1e-14, &at), ERROR_INVALID);
    assert_int_equal(
        solve_monotone(cubic, &target, (struct solve_range){0, 0.1, -1, 1}, 1e-14, &at),
        ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(beta_quantiles_for_per_million_denominators),
        cmocka_unit_test(gamma_quantiles_for_small_shapes),
        cmocka_unit_test(quantiles_invert_the_distribution_functions),
        cmocka_unit_test(beta_of_very_large_shapes),
        cmocka_unit_test(edges_and_nonsense),
        cmocka_unit_test(roots),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
