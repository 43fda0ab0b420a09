/* Staling: Avrami law, temperature, drying, softener, gummy crumb. */
#include "check.h"

static struct models_parameters parameters;

static int defaults(void **state)
{
    (void)state;
    parameters_default(&parameters);
    return 0;
}

/* Law: Cornford, Axford, Elton 1964 Cereal Chem 41:216; 1/k 3.7 d near 21 °C from memory (Colwell
 * group 1969); expected values computed from them by hand. */
static void avrami_law(void **state)
{
    (void)state;
    check_near("done by 3 d", 1 - staling_theta(3, 3.7, 1), 0.5555, 5e-4);
    check_near("firmness", staling_firmness(staling_theta(3, 3.7, 1), 2, 10), 6.444, 0.002);
    check_near("fresh", staling_firmness(staling_theta(0, 3.7, 1), 2, 10), 2, 0);
    for (int n_n = 0; 0.8 + 0.1 * n_n < 1.3; n_n++) {
        double n = 0.8 + 0.1 * n_n;
        check_near("half", staling_theta(3.7 * pow(M_LN2, 1 / n), 3.7, n), 0.5, 1e-12);
    }
}

/* k falls as temperature rises from -1 to 32 °C: Cornford, Axford, Elton 1964 Cereal Chem 41:216;
 * retrogradation fastest at 4 °C, only crystal growth at -18 °C: Aguirre et al. 2011 Starch 63:587.
 */
static void cold_bread_stales_faster_frozen_least(void **state)
{
    const struct staling_values *v = &parameters.typical.staling;
    (void)state;
    assert_true(staling_rate_per_day(v, 4) > staling_rate_per_day(v, 20));
    assert_true(staling_rate_per_day(v, 4) > staling_rate_per_day(v, 25));
    assert_true(staling_rate_per_day(v, 25) > 0);
    assert_true(staling_rate_per_day(v, -18) < staling_rate_per_day(v, 25));
    assert_true(staling_rate_per_day(v, 32) < staling_rate_per_day(v, 21));
    for (int i = 0; i < STALING_TABLE; i++) {
        static const double at_c[STALING_TABLE] = {-18, -1, 10, 21, 32};
        check_near("table", 1 / staling_rate_per_day(v, at_c[i]), v->tau_d[i], 1e-9);
    }
}

static double firmness(struct staling_loaf loaf, double temp_c, double days)
{
    const struct mold_segment kept = {24, temp_c};
    return staling_firmness_ratio(&parameters.typical.staling, &loaf, &kept, 1, days, NULL);
}

static const struct staling_loaf sound = {1, 1, 0, false};

/* Pan bread at 20-22 °C about doubles in firmness in 2-3 d, threefold by 5-7 d (from memory). */
static void firmness_grows_as_seen(void **state)
{
    (void)state;
    check_near("fresh", firmness(sound, 21, 0), 1, 1e-12);
    check_between("2.5 d", firmness(sound, 21, 2.5), 1.8, 2.5);
    check_between("6 d", firmness(sound, 21, 6), 2.6, 3.4);
}

static void every_fault_firms(void **state)
{
    (void)state;
    double usual = firmness(sound, 21, 4);
    assert_true(firmness((struct staling_loaf){0.4, 1, 0, false}, 21, 4) > usual);
    assert_true(firmness((struct staling_loaf){1, 0.3, 0, false}, 21, 4) > usual);
    assert_true(firmness((struct staling_loaf){1, 1, 2, false}, 21, 4) > usual);
    assert_true(firmness((struct staling_loaf){1, 1, 0, true}, 21, 4) > usual);
    assert_true(firmness((struct staling_loaf){1.4, 1, 0, false}, 21, 4) < usual);
    assert_true(firmness(sound, 4, 4) > usual);
    /* missed window and missing dose are the same to the crumb */
    check_near("window or dose", firmness((struct staling_loaf){0.5, 1, 0, false}, 21, 4),
               firmness((struct staling_loaf){1, 0.5, 0, false}, 21, 4), 1e-12);
}

/* Model held under fluctuating temperature: staling rate at 5-40 °C (integrate k(T) dt). */
static void fluctuating_temperature_is_integrated(void **state)
{
    const struct staling_values *v = &parameters.typical.staling;
    const struct mold_segment pieces[] = {{24, 4}, {24, 32}, {24, 21}};
    bool valid = false;
    (void)state;
    check_near("sum", staling_work(v, pieces, COUNT_OF(pieces), 3.5, &valid),
               staling_rate_per_day(v, 4) + staling_rate_per_day(v, 32) +
                   1.5 * staling_rate_per_day(v, 21),
               1e-12);
    assert_true(valid);
    const struct mold_segment oven = {24, 80};
    staling_work(v, &oven, 1, 1, &valid);
    assert_false(valid);
}

/* Common practice, no source: amylase active while starch gelatinizes softens the crumb, in excess
 * makes it gummy. */
static void too_much_softener_is_gummy(void **state)
{
    const struct staling_values *v = &parameters.typical.staling;
    (void)state;
    assert_true(staling_gummy_share(v, 1, NAN) < 0.02);
    assert_true(staling_gummy_share(v, 3, NAN) > 0.8);
    assert_true(staling_gummy_share(v, 1, 86) > 0.8);
    assert_true(staling_gummy_share(v, 1, 98) < 0.02);
    check_near("no softener", staling_gummy_share(v, 0, NAN), 0, 0);
    assert_true(staling_stale_share(v, 1.2) < 0.05);
    assert_true(staling_stale_share(v, 5) > 0.9);
}

static void drying_before_packing(void **state)
{
    const struct staling_values *v = &parameters.typical.staling;
    (void)state;
    check_near("on target", staling_moisture_lost_pct(v, 0, 0), 0, 0);
    check_near("under target", staling_moisture_lost_pct(v, -5, -20), 0, 0);
    assert_true(staling_moisture_lost_pct(v, 5, 60) > 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(avrami_law),
        cmocka_unit_test(cold_bread_stales_faster_frozen_least),
        cmocka_unit_test(firmness_grows_as_seen),
        cmocka_unit_test(every_fault_firms),
        cmocka_unit_test(fluctuating_temperature_is_integrated),
        cmocka_unit_test(too_much_softener_is_gummy),
        cmocka_unit_test(drying_before_packing),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
