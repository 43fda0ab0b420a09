/* Calibration on a few samples, against its formula written out again: the fit is a maximum, its
 * intervals are of the curvature there, and what is told of it is of that fit. test_calibrate.c
 * asks whether it finds the truth. */
#include "check.h"

#include "base/error.h"
#include "models/calibrate.h"
#include "models/normal.h"

enum { COUNT = 9 };

static struct mold_course course[2];
static struct calibrate_sample samples[COUNT];

static int set_up(void **state)
{
    static const double DAYS[COUNT] = {6, 7, 7, 9, 10, 21, 12, 21, 8};
    struct models_parameters parameters;
    (void)state;
    parameters_default(&parameters);
    for (int i = 0; i < 2; i++) {
        struct lot_conditions lot = lot_with_dose("calcium-propionate", i ? 0.2 : 0);
        predict_mold_course(&lot, NULL, &parameters, &course[i]);
    }
    for (int i = 0; i < COUNT; i++)
        samples[i] =
            (struct calibrate_sample){&course[i % 2], DAYS[i], DAYS[i] > 20, i % 3 ? 1 : 2};
    return 0;
}

/* calibrate.h, sentence by sentence. */
static double likelihood(double time, double spores, double spread)
{
    double sum = 0;
    for (int i = 0; i < COUNT; i++) {
        const struct calibrate_sample *s = &samples[i];
        const double horizon = s->course->horizon_days;
        double chance = 0;
        for (int k = 0; k < NORMAL_NODES; k++) {
            const double factor = exp(time + exp(spread) * normal_node(k));
            const double m = s->course->spores * exp(spores);
            const double now = exp(-m * mold_spores_visible_scaled(s->course, s->days, factor));
            const double before =
                exp(-m * mold_spores_visible_scaled(s->course, s->days - s->look_days, factor));
            chance += normal_weight(k) * (s->none_yet ? now : before - now);
        }
        const double stray =
            s->none_yet ? fmax(1 - s->days / horizon, 0.01) : fmin(s->look_days / horizon, 1);
        sum += log(0.98 * chance + 0.02 * stray);
    }
    return sum;
}

static double posterior(const double at[3])
{
    const double t = at[0] / 0.7, s = at[1] / 1.5, d = (at[2] + 1.6) / 0.6;
    return likelihood(at[0], at[1], at[2]) - (t * t + s * s + d * d) / 2;
}

static void the_fit_is_a_maximum(void **state)
{
    struct calibrate_fit fit;
    (void)state;
    assert_int_equal(calibrate_mold(samples, COUNT, NULL, &fit, NULL), 0);
    const double at[3] = {log(fit.time.value), log(fit.spores.value), log(fit.lot_sigma)};
    for (int d = 0; d < 3; d++)
        for (int sign = -1; sign <= 1; sign += 2) {
            double beside[3] = {at[0], at[1], at[2]};
            beside[d] += sign * 0.01;
            assert_true(posterior(beside) < posterior(at));
        }
    check_near("likelihood", fit.log_likelihood, likelihood(at[0], at[1], at[2]), 1e-9);
    check_near("before", fit.log_likelihood_before, likelihood(0, 0, at[2]), 1e-9);
    assert_int_equal(fit.samples, COUNT);
    assert_int_equal(fit.found, 7);
}

/* The second derivative by a and b, by differences half as wide as the fit's own. */
static double curvature(const double at[3], int a, int b)
{
    const double h = 0.01;
    double sum = 0;
    for (int i = -1; i <= 1; i += 2)
        for (int k = -1; k <= 1; k += 2) {
            double point[3] = {at[0], at[1], at[2]};
            point[a] += i * h;
            point[b] += k * h;
            sum -= i * k * posterior(point) / (4 * h * h);
        }
    return sum;
}

static void intervals_are_of_the_curvature(void **state)
{
    struct calibrate_fit fit;
    (void)state;
    assert_int_equal(calibrate_mold(samples, COUNT, NULL, &fit, NULL), 0);
    const double at[3] = {log(fit.time.value), log(fit.spores.value), log(fit.lot_sigma)};
    double m[3][3];
    for (int a = 0; a < 3; a++)
        for (int b = 0; b < 3; b++)
            m[a][b] = curvature(at, a, b);
    const double of_time = m[1][1] * m[2][2] - m[1][2] * m[1][2],
                 of_spores = m[0][0] * m[2][2] - m[0][2] * m[0][2];
    const double determinant = m[0][0] * of_time -
                               m[0][1] * (m[0][1] * m[2][2] - m[1][2] * m[0][2]) +
                               m[0][2] * (m[0][1] * m[1][2] - m[1][1] * m[0][2]);
    /* 5 to 95 % of a normal: 1.645 to either side (R: qnorm(0.95)) */
    const double time = sqrt(of_time / determinant), spores = sqrt(of_spores / determinant);
    assert_true(time < 0.7 && spores < 1.5);
    check_near("time, low", log(fit.time.value / fit.time.low), 1.644854 * time, 0.01 * time);
    check_near("time, high", log(fit.time.high / fit.time.value), 1.644854 * time, 0.01 * time);
    check_near("spores, low", log(fit.spores.value / fit.spores.low), 1.644854 * spores,
               0.01 * spores);
    check_near("spores, high", log(fit.spores.high / fit.spores.value), 1.644854 * spores,
               0.01 * spores);
    check_near("a new lot", log(fit.predictive.high / fit.predictive.value),
               1.644854 * hypot(time, fit.lot_sigma), 0.01 * time);
    check_near("its middle", fit.predictive.value, fit.time.value, 1e-12);
}

static double shown(const struct calibrate_fit *fit, const struct calibrate_sample *s, double days)
{
    double chance = 0;
    for (int k = 0; k < NORMAL_NODES; k++) {
        const double factor = fit->time.value * exp(fit->lot_sigma * normal_node(k));
        chance += normal_weight(k) * -expm1(-s->course->spores * fit->spores.value *
                                            mold_spores_visible_scaled(s->course, days, factor));
    }
    return chance;
}

static void residuals_are_of_the_fit(void **state)
{
    struct calibrate_fit fit;
    struct calibrate_residual residuals[COUNT];
    double positions[COUNT], gap = 0;
    int found = 0;
    (void)state;
    assert_int_equal(calibrate_mold(samples, COUNT, residuals, &fit, NULL), 0);
    for (int i = 0; i < COUNT; i++) {
        const struct calibrate_sample *s = &samples[i];
        const double seen = s->none_yet ? s->days : s->days - s->look_days / 2;
        const double ever = -expm1(-s->course->spores * fit.spores.value);
        check_near("position", residuals[i].position, shown(&fit, s, seen), 1e-9);
        check_near("half of those that ever show", shown(&fit, s, residuals[i].predicted_days),
                   ever / 2, 1e-6);
        check_near("ratio", residuals[i].log_ratio, log(seen / residuals[i].predicted_days), 1e-9);
        if (!s->none_yet)
            positions[found++] = shown(&fit, s, seen) / shown(&fit, s, s->course->horizon_days);
    }
    /* Kolmogorov's distance, from its definition: at every step from either side */
    for (int i = 0; i < found; i++) {
        int below = 0, upto = 0;
        for (int k = 0; k < found; k++) {
            below += positions[k] < positions[i];
            upto += positions[k] <= positions[i];
        }
        gap = fmax(gap,
                   fmax(positions[i] - (double)below / found, (double)upto / found - positions[i]));
    }
    check_near("gap", fit.position_ks, gap, 1e-9);
}

static void what_is_too_few(void **state)
{
    static const struct {
        int samples, found;
        bool enough;
    } CASES[] = {{4, 4, false}, {5, 2, false}, {5, 3, true},
                 {4, 3, false}, {6, 2, false}, {0, 0, false}};
    struct calibrate_sample few[6];
    struct calibrate_fit fit;
    struct error err = {0};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        for (int k = 0; k < CASES[i].samples; k++)
            few[k] = (struct calibrate_sample){&course[0], 7, k >= CASES[i].found, 1};
        int rc = calibrate_mold(few, (size_t)CASES[i].samples, NULL, &fit, &err);
        assert_int_equal(rc, CASES[i].enough ? 0 : ERROR_INVALID);
    }
    for (int wrong = 0; wrong < 3; wrong++) {
        struct mold_course none = {.valid = false, .reason = "no dose"};
        struct error why = {0};
        for (int k = 0; k < 6; k++)
            few[k] = (struct calibrate_sample){&course[0], 7, false, 1};
        if (wrong == 0)
            few[2].course = &none;
        else
            *(wrong == 1 ? &few[2].days : &few[2].look_days) = 0;
        assert_int_equal(calibrate_mold(few, 6, NULL, &fit, &why), ERROR_INVALID);
        assert_string_equal(why.text, wrong ? "retained sample 3: days must be above 0"
                                            : "retained sample 3: no dose");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_fit_is_a_maximum),
        cmocka_unit_test(intervals_are_of_the_curvature),
        cmocka_unit_test(residuals_are_of_the_fit),
        cmocka_unit_test(what_is_too_few),
    };
    return cmocka_run_group_tests(tests, set_up, NULL);
}
