/* Calibration: known factors come back from simulated retained samples. */
#include "check.h"

#include "base/error.h"
#include "models/calibrate.h"

enum { SAMPLES = 120 };

static struct models_parameters parameters;
static struct mold_course courses[SAMPLES];
static struct calibrate_sample samples[SAMPLES];

static int defaults(void **state)
{
    (void)state;
    parameters_default(&parameters);
    return 0;
}

/* splitmix64: the simulation is the same everywhere. */
static double uniform(uint64_t *seed)
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(uint64_t *seed)
{
    double u = uniform(seed);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * uniform(seed));
}

/* Packs looked at daily for three weeks, with true factors on time and spores. */
static void simulate(double time, double spores, double lot_sigma, uint64_t seed)
{
    const double dose[] = {0, 0.1, 0.2, 0.3};
    for (int i = 0; i < SAMPLES; i++) {
        struct lot_conditions lot = lot_with_dose("calcium-propionate", dose[i % 4]);
        double factor = time * exp(lot_sigma * normal(&seed));
        double u = uniform(&seed);
        predict_mold_course(&lot, NULL, &parameters, &courses[i]);
        samples[i] = (struct calibrate_sample){&courses[i], 21, true, 1};
        for (int day = 1; day <= 21; day++) {
            double share = mold_spores_visible_scaled(&courses[i], day, factor);
            if (u < -expm1(-courses[i].spores * spores * share)) {
                samples[i].days = day;
                samples[i].none_yet = false;
                break;
            }
        }
    }
}

static void factors_come_back(void **state)
{
    static const double truth[][3] = {{1, 1, 0.1}, {1.4, 3, 0.15}, {0.7, 0.6, 0.2}, {1.2, 1, 0.05}};
    struct calibrate_residual residuals[SAMPLES];
    struct calibrate_fit fit;
    int inside = 0;
    (void)state;
    for (size_t t = 0; t < COUNT_OF(truth); t++) {
        simulate(truth[t][0], truth[t][1], truth[t][2], 77 + t);
        assert_int_equal(calibrate_mold(samples, SAMPLES, residuals, &fit, NULL), 0);
        check_between("time", fit.time.value / truth[t][0], 0.85, 1.18);
        check_between("spores", fit.spores.value / truth[t][1], 0.6, 1.7);
        inside += fit.time.low <= truth[t][0] && truth[t][0] <= fit.time.high;
        inside += fit.spores.low <= truth[t][1] && truth[t][1] <= fit.spores.high;
        assert_true(fit.predictive.low <= fit.time.low && fit.predictive.high >= fit.time.high);
        assert_true(fit.log_likelihood >= fit.log_likelihood_before - 1);
        assert_true(fit.position_ks < 0.2);
        assert_int_equal(fit.samples, SAMPLES);
        for (int i = 0; i < SAMPLES; i++) {
            check_between("position", residuals[i].position, 0, 1);
            assert_true(isfinite(residuals[i].log_ratio));
        }
    }
    /* 90 % intervals: of 8, at least 6 */
    assert_true(inside >= 6);
}

/* 90 % intervals hold the truth nine times of ten: of 48, binomially 43 with a spread of 2.1, and
 * in two of a thousand runs of honest intervals fewer than 37. (Of 800 with other seeds, 712 did.)
 */
static void intervals_cover(void **state)
{
    static const double truth[][3] = {{1, 1, 0.1}, {1.4, 3, 0.15}, {0.7, 0.6, 0.2}, {1.2, 1, 0.05}};
    struct calibrate_residual residuals[SAMPLES];
    struct calibrate_fit fit;
    int inside = 0;
    (void)state;
    for (int r = 0; r < 24; r++) {
        const double *t = truth[r % 4];
        simulate(t[0], t[1], t[2], 500 + (uint64_t)r);
        assert_int_equal(calibrate_mold(samples, SAMPLES, residuals, &fit, NULL), 0);
        inside += fit.time.low <= t[0] && t[0] <= fit.time.high;
        inside += fit.spores.low <= t[1] && t[1] <= fit.spores.high;
    }
    check_between("intervals that hold the truth", inside, 37, 48);
}

static void odd_samples_hardly_pull(void **state)
{
    struct calibrate_fit clean;
    struct calibrate_fit odd;
    (void)state;
    simulate(1.2, 2, 0.1, 5);
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &clean, NULL), 0);
    samples[0].days = samples[1].days = samples[2].days = 1;
    samples[0].none_yet = samples[1].none_yet = samples[2].none_yet = false;
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &odd, NULL), 0);
    check_near("time", odd.time.value / clean.time.value, 1, 0.06);
}

static void an_adopted_fit_predicts_the_samples(void **state)
{
    struct calibrate_fit fit;
    struct calibrate_fit again;
    (void)state;
    simulate(1.4, 2, 0.1, 9);
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &fit, NULL), 0);
    assert_int_equal(parameters_set(&parameters, "mold.time_scale", fit.predictive.low,
                                    fit.predictive.value, fit.predictive.high),
                     0);
    assert_int_equal(parameters_set(&parameters, "mold.spores_scale", fit.spores.low,
                                    fit.spores.value, fit.spores.high),
                     0);
    for (int i = 0; i < SAMPLES; i++) {
        const double dose[] = {0, 0.1, 0.2, 0.3};
        struct lot_conditions lot = lot_with_dose("calcium-propionate", dose[i % 4]);
        predict_mold_course(&lot, NULL, &parameters, &courses[i]);
    }
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &again, NULL), 0);
    check_near("time now", again.time.value, 1, 0.06);
    check_near("spores now", again.spores.value, 1, 0.12);
    parameters_default(&parameters);
}

static void too_little_is_refused(void **state)
{
    struct calibrate_fit fit;
    struct error err = {0};
    (void)state;
    simulate(1, 1, 0.1, 3);
    assert_int_equal(calibrate_mold(samples, 4, NULL, &fit, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "too few"));
    samples[3].days = 0;
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &fit, NULL), ERROR_INVALID);
    samples[3].days = 5;
    courses[2].valid = false;
    assert_int_equal(calibrate_mold(samples, SAMPLES, NULL, &fit, NULL), ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(factors_come_back),
        cmocka_unit_test(intervals_cover),
        cmocka_unit_test(odd_samples_hardly_pull),
        cmocka_unit_test(an_adopted_fit_predicts_the_samples),
        cmocka_unit_test(too_little_is_refused),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
