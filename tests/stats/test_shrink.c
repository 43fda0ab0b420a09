/* Gamma-Poisson shrinkage and the negative binomial: Scottish lip cancer (D. Clayton & J. Kaldor,
 * 1987), fits by SciPy and R, quantiles by R. */
#include "checks.h"

#include "base/error.h"
#include "stats/negbin.h"
#include "stats/shrink.h"

struct districts {
    double observed[CHECKS_MAX], expected[CHECKS_MAX];
    size_t n;
};

static struct districts lip_cancer(void)
{
    struct districts d;
    d.n = input_numbers("E6-LIP-MLE", "observed", d.observed);
    assert_int_equal(input_numbers("E6-LIP-MLE", "expected", d.expected), d.n);
    return d;
}

static void want_means(const char *id, const struct districts *d, struct shrink_gamma prior,
                       double rel)
{
    double theta[CHECKS_MAX];
    for (size_t i = 0; i < d->n; i++)
        theta[i] = shrink_mean(shrink_posterior(prior, d->observed[i], d->expected[i]));
    want_series(id, "theta", theta, d->n, rel, 0);
}

static void lip_cancer_by_moments(void **state)
{
    (void)state;
    struct districts d = lip_cancer();
    struct shrink_gamma g;
    assert_int_equal(shrink_fit_moments(d.observed, d.expected, d.n, &g), 0);
    want_value("E6-LIP-MARSHALL", "m", shrink_mean(g));
    near_value("A", g.shape / (g.rate * g.rate),
               json_number_value(check_wanted("E6-LIP-MARSHALL", "A")), 1e-9, 0);
    want_means("E6-LIP-MARSHALL", &d, g, 1e-9);
}

static void posterior_rates_per_million(void **state)
{
    (void)state;
    static const char *const ids[] = {"E6-GP-0", "E6-GP-3", "E6-GP-12"};
    for (size_t i = 0; i < 3; i++) {
        const char *id = ids[i];
        struct shrink_gamma prior = {input_number(id, "prior_shape"),
                                     input_number(id, "prior_rate")};
        struct shrink_gamma g = shrink_posterior(prior, input_number(id, "count"),
                                                 input_number(id, "exposure_million"));
        want_value(id, "shape", g.shape);
        want_value(id, "rate", g.rate);
        want_value(id, "mean", shrink_mean(g));
        struct interval limits = shrink_interval(g, 0.95);
        double got[] = {limits.low, shrink_interval(g, 0).low, limits.high};
        want_series(id, "q025,q50,q975", got, 3, 1e-9, 0);
    }
}

static void nothing_spread_is_drawn_to_the_mean(void **state)
{
    (void)state;
    double o[] = {2, 2, 2, 2}, e[] = {2, 2, 2, 2};
    struct shrink_gamma g;
    assert_int_equal(shrink_fit_moments(o, e, 4, &g), 0);
    assert_true(g.shape == SHRINK_SHAPE_MOST);
}

static void fits_refuse_nonsense(void **state)
{
    (void)state;
    double o[] = {1, 0}, e[] = {0, 3}, none[] = {0, 0}, ok[] = {1, 1}, bad[] = {NAN, 1};
    struct shrink_gamma g;
    assert_int_equal(shrink_fit_moments(o, e, 2, &g), ERROR_INVALID);
    assert_int_equal(shrink_fit_moments(none, ok, 2, &g), ERROR_INVALID);
    assert_int_equal(shrink_fit_moments(bad, ok, 2, &g), ERROR_INVALID);
    assert_int_equal(shrink_fit_moments(ok, ok, 0, &g), ERROR_INVALID);
}

static void excess_in_bits(void **state)
{
    (void)state;
    struct shrink_gamma usual = shrink_gamma_of(1, 20), raised = shrink_gamma_of(8, 2);
    assert_true(shrink_log_bayes_factor(usual, raised, 0, 0) == 0);
    assert_true(shrink_log_bayes_factor(usual, raised, 9, 1.2) > 5);
    assert_true(shrink_log_bayes_factor(usual, raised, 1, 4) < -2);
    assert_true(isfinite(shrink_log_bayes_factor(usual, raised, 3, 0)));
    assert_true(isnan(shrink_log_bayes_factor(usual, raised, -1, 1)));
    /* by hand: both are negative binomials; R dnbinom(9, 2, mu = 9.6) / dnbinom(9, 20, mu = 1.2) */
    double by_hand = negbin_log_pmf(9, 9.6, 2) - negbin_log_pmf(9, 1.2, 20);
    near_value("log BF", shrink_log_bayes_factor(usual, raised, 9, 1.2), by_hand, 1e-14, 0);
    /* fractions of complaints lie between their neighbours */
    double half = shrink_log_bayes_factor(usual, raised, 2.5, 1);
    assert_true(half > shrink_log_bayes_factor(usual, raised, 2, 1));
    assert_true(half < shrink_log_bayes_factor(usual, raised, 3, 1));
}

static void negative_binomial(void **state)
{
    (void)state;
    static const char *const ids[] = {"S4-NB-5-2", "S4-NB-5-10", "S4-NB-2.5-0.8", "S4-NB-16-27.7"};
    static const double levels[] = {0.95, 0.99, 0.999};
    for (size_t i = 0; i < 4; i++) {
        double mean = input_number(ids[i], "mu"), size = input_number(ids[i], "k"),
               want[CHECKS_MAX];
        want_value(ids[i], "P(X>14)", negbin_more_than(14, mean, size));
        want_value(ids[i], "pmf(5)", negbin_pmf(5, mean, size));
        want_value(ids[i], "logpmf(20)", negbin_log_pmf(20, mean, size));
        wanted_numbers(ids[i], "q95,q99,q999", want);
        for (size_t j = 0; j < 3; j++) {
            assert_int_equal(negbin_quantile(levels[j], mean, size), (long)want[j]);
            assert_int_equal(negbin_quantile_upper(1 - levels[j], mean, size), (long)want[j]);
        }
    }
    near_value("Poisson limit", negbin_more_than(14, 5, INFINITY), 0.000226253676, 1e-8, 0);
    near_value("near Poisson", negbin_pmf(3, 5, 9.9e7), negbin_pmf(3, 5, INFINITY), 1e-7, 0);
    assert_true(isnan(negbin_pmf(3, -1, 2)) && negbin_quantile(0.5, 1, 0) == -1);
    assert_true(negbin_pmf(0, 0, 2) == 1 && negbin_quantile(0.9, 0, 2) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lip_cancer_by_moments),
        cmocka_unit_test(posterior_rates_per_million),
        cmocka_unit_test(nothing_spread_is_drawn_to_the_mean),
        cmocka_unit_test(fits_refuse_nonsense),
        cmocka_unit_test(excess_in_bits),
        cmocka_unit_test(negative_binomial),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
