/* Log-linear models against R's glm, and the step traces of Farrington's method (1996) on
 * Salmonella Agona (R package surveillance, algo.farrington). */
#include "checks.h"
#include "farrington.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "base/error.h"
#include "stats/negbin.h"
#include "stats/season.h"

static void before_and_after(void **state)
{
    (void)state;
    const char *id = "P1-GLM4";
    double y[CHECKS_MAX], exposure[CHECKS_MAX], x[16], offset[8];
    input_numbers(id, "before", y);
    input_numbers(id, "after", y + 4);
    input_numbers(id, "exposure_before", exposure);
    input_numbers(id, "exposure_after", exposure + 4);
    for (size_t i = 0; i < 8; i++) {
        x[2 * i] = 1;
        x[2 * i + 1] = i >= 4;
        offset[i] = log(exposure[i]);
    }
    struct glm_data data = {.x = x, .y = y, .offset = offset, .n = 8, .p = 2};
    struct glm g;
    assert_int_equal(glm_poisson(&data, &g), 0);
    double se = sqrt(g.covariance[1][1]);
    want_value(id, "log_rr", g.coefficient[1]);
    /* with one term per group the error is sqrt(1/18 + 1/42) exactly; the reference fit stopped
     * at seven digits */
    near_value("se", se, sqrt(1.0 / 18 + 1.0 / 42), 1e-9, 0);
    near_value("se", se, json_number_value(check_wanted(id, "se")), 1e-7, 0);
    near_value("z", g.coefficient[1] / se, json_number_value(check_wanted(id, "z")), 1e-7, 0);
    double p = 2 * gsl_cdf_ugaussian_Q(fabs(g.coefficient[1] / se));
    near_value("p", p, json_number_value(check_wanted(id, "p")), 1e-6, 0);
    want_value(id, "deviance", g.deviance);
    want_value(id, "pearson_dispersion", g.dispersion);
}

static void farrington_trend_kept(void **state)
{
    (void)state;
    const char *id = "S4-FARR-TRACE284";
    double weeks[CHECKS_MAX], y[CHECKS_MAX], want[CHECKS_MAX], se;
    size_t n = input_numbers(id, "reference_weeks", weeks);
    input_numbers(id, "reference_counts", y);
    struct season_design design = {.period = SEASON_WEEKS, .trend = true};
    struct season s;
    assert_int_equal(season_fit(weeks, y, NULL, n, &design, &s), 0);
    wanted_numbers(id, "first_coef", want);
    near_value("level", log(season_expected(&s, 0, 1, NULL)), want[0], 1e-8, 0);
    near_value("trend", s.trend, want[1], 1e-8, 0);
    want_value(id, "first_phi", s.fit.dispersion);
    design.outlier = SEASON_OUTLIER_1996;
    assert_int_equal(season_fit(weeks, y, NULL, n, &design, &s), 0);
    wanted_numbers(id, "reweighted_coef", want);
    near_value("level", log(season_expected(&s, 0, 1, NULL)), want[0], 1e-6, 0);
    near_value("trend", s.trend, want[1], 1e-6, 0);
    want_value(id, "phi", s.dispersion);
    double mean = season_expected(&s, 284, 1, &se);
    want_value(id, "mu0", mean);
    want_value(id, "se_mu0", se);
    want_value(id, "upper", farrington_upper(mean, se, s.dispersion, 0.005));
    assert_true(input_number(id, "y") > farrington_upper(mean, se, s.dispersion, 0.005));
}

static void farrington_trend_dropped(void **state)
{
    (void)state;
    const char *id = "S4-FARR-TRACE294";
    double weeks[CHECKS_MAX], y[CHECKS_MAX], want[CHECKS_MAX], se;
    size_t n = input_numbers(id, "reference_weeks", weeks);
    input_numbers(id, "reference_counts", y);
    struct season_design design = {
        .period = SEASON_WEEKS, .trend = true, .outlier = SEASON_OUTLIER_1996};
    struct season s;
    assert_int_equal(season_fit(weeks, y, NULL, n, &design, &s), 0);
    wanted_numbers(id, "trend_reweighted_coef", want);
    near_value("trend", s.trend, want[1], 1e-6, 0);
    want_value(id, "trend_reweighted_phi", s.dispersion);
    near_value("trend p", s.trend_p, json_number_value(check_wanted(id, "trend_wald_p")), 1e-5, 0);
    design.trend = false;
    assert_int_equal(season_fit(weeks, y, NULL, n, &design, &s), 0);
    want_value(id, "final_coef", s.fit.coefficient[0]);
    want_value(id, "final_phi", s.dispersion);
    double mean = season_expected(&s, 294, 1, &se);
    want_value(id, "mu0", mean);
    want_value(id, "se_mu0", se);
    want_value(id, "upper", farrington_upper(mean, se, s.dispersion, 0.005));
    assert_true(s.trend_p == 1 && s.trend == 0);
}

/* Four years with season, trend, changing output and a past outbreak: the next year is foretold. */
static void season_recovered(void **state)
{
    (void)state;
    enum { weeks = 208 };
    double times[weeks], counts[weeks], exposure[weeks], worst = 0;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (int i = 0; i < weeks + 40; i++) {
        double truth = 30 * exp(0.4 * sin(2 * M_PI * i / SEASON_WEEKS) + 0.001 * i);
        if (i < weeks) {
            times[i] = i;
            exposure[i] = 1 + 0.3 * gsl_rng_uniform(rng);
            counts[i] =
                gsl_ran_poisson(rng, truth * exposure[i]) + (i > 100 && i < 106 ? 60.0 : 0.0);
        }
    }
    struct season_design design = season_design_for(weeks);
    assert_true(design.trend && design.harmonics == 2);
    struct season s;
    assert_int_equal(season_fit(times, counts, exposure, weeks, &design, &s), 0);
    for (int i = weeks; i < weeks + 40; i++) {
        double se, truth = 30 * exp(0.4 * sin(2 * M_PI * i / SEASON_WEEKS) + 0.001 * i);
        double mean = season_expected(&s, i, 1, &se);
        worst = fmax(worst, fabs(mean / truth - 1));
        assert_true(se > 0 && se < 0.2 * mean);
    }
    assert_true(worst < 0.12);
    near_value("trend", s.trend, 0.001, 0, 4e-4);
    gsl_rng_free(rng);
}

/* Share of in-control next weeks beyond the predictive 95 % quantile, `size` of the extra spread.
 */
static double false_alarms(double level, double size, gsl_rng *rng)
{
    enum { weeks = 110, runs = 500 };
    double times[weeks], counts[weeks];
    int alarms = 0;
    for (int run = 0; run < runs; run++) {
        double next = 0;
        for (int i = 0; i <= weeks; i++) {
            double mean = level * exp(0.3 * sin(2 * M_PI * (i + run) / SEASON_WEEKS));
            double rate = isinf(size) ? mean : gsl_ran_gamma(rng, size, mean / size);
            next = gsl_ran_poisson(rng, rate);
            if (i < weeks) {
                times[i] = i;
                counts[i] = next;
            }
        }
        struct season_design design = season_design_for(weeks);
        struct season s;
        assert_int_equal(season_fit(times, counts, NULL, weeks, &design, &s), 0);
        double se, mean = season_expected(&s, weeks, 1, &se);
        long bound = negbin_quantile(0.95, mean, season_size(mean, se, s.dispersion));
        alarms += next > (double)bound;
    }
    return (double)alarms / runs;
}

/* A 5 % bound is passed by about 5 % of ordinary weeks: less for small counts, which jump. */
static void bounds_keep_their_level(void **state)
{
    (void)state;
    static const double levels[] = {1.5, 8, 60};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (int i = 0; i < 3; i++)
        for (int spread = 0; spread < 2; spread++) {
            double share = false_alarms(levels[i], spread ? 12 : INFINITY, rng);
            if (!(share >= 0.005 && share <= 0.085))
                fail_msg("level %g, spread %d: %.3f", levels[i], spread, share);
        }
    gsl_rng_free(rng);
}

static void designs_and_sizes(void **state)
{
    (void)state;
    assert_true(season_design_for(20).harmonics == 0 && !season_design_for(20).trend);
    assert_true(season_design_for(40).trend && season_design_for(90).harmonics == 1);
    assert_true(isinf(season_size(5, 0, 1)));
    near_value("size", season_size(10, 2, 1.5), 100.0 / 9.0, 1e-12, 0);
    double times[] = {0, 1, 2}, counts[] = {1, 2, 1}, zeros[] = {0, 0, 0}, off[] = {1, 0, 1};
    struct season_design design = {.period = SEASON_WEEKS, .harmonics = 2};
    struct season s;
    assert_int_equal(season_fit(times, counts, NULL, 3, &design, &s), ERROR_INVALID);
    design.harmonics = 0;
    assert_int_equal(season_fit(times, zeros, NULL, 3, &design, &s), ERROR_INVALID);
    assert_int_equal(season_fit(times, counts, off, 3, &design, &s), ERROR_INVALID);
    assert_int_equal(season_fit(times, counts, NULL, 3, &design, &s), 0);
    near_value("mean", season_expected(&s, 9, 3, NULL), 4, 1e-9, 0);
    /* collinear columns are refused, not fitted */
    double x[] = {1, 2, 1, 2, 1, 2}, y[] = {1, 2, 3};
    struct glm g;
    assert_int_equal(glm_poisson(&(struct glm_data){.x = x, .y = y, .n = 3, .p = 2}, &g),
                     ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(before_and_after),         cmocka_unit_test(farrington_trend_kept),
        cmocka_unit_test(farrington_trend_dropped), cmocka_unit_test(season_recovered),
        cmocka_unit_test(bounds_keep_their_level),  cmocka_unit_test(designs_and_sizes),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
