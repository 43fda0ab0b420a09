/* Water vapour: saturation, dew point, humidity, condensate in a bag. */
#include "check.h"

static void relative(const char *what, double got, double want, double relative_tolerance)
{
    check_near(what, got, want, fabs(want) * relative_tolerance);
}

/* Revised Release on the IAPWS Industrial Formulation 1997, tables 35 and 36. */
static void saturation_matches_if97(void **state)
{
    (void)state;
    relative("300 K", wet_saturation_pa(300), 3536.58941, 1e-8);
    relative("500 K", wet_saturation_pa(500), 2.63889776e6, 1e-8);
    relative("600 K", wet_saturation_pa(600), 12.3443146e6, 1e-8);
    relative("0.1 MPa", wet_saturation_temp_k(0.1e6), 372.755919, 1e-8);
    relative("1 MPa", wet_saturation_temp_k(1e6), 453.035632, 1e-8);
    for (int n_k = 0; 274 + 7 * n_k < 640; n_k++) {
        double k = 274 + 7 * n_k;
        relative("there and back", wet_saturation_temp_k(wet_saturation_pa(k)), k, 1e-9);
    }
    /* the ends, freezing and the critical point, belong to it */
    relative("0 °C", wet_saturation_pa(273.15), 611.213, 1e-5);
    relative("critical", wet_saturation_pa(647.096), 22.064e6, 1e-5);
    assert_true(isnan(wet_saturation_pa(273.149)) && isnan(wet_saturation_pa(647.097)));
    assert_true(isnan(wet_saturation_pa(200)));
    assert_true(isnan(wet_saturation_temp_k(100)));
}

static void saturation_matches_tables(void **state)
{
    (void)state;
    /* saturated steam table, people.ohio.edu/trembly H2O_TempSat1 */
    relative("20 °C", wet_saturation_pa_c(20), 2339, 5e-4);
    relative("40 °C", wet_saturation_pa_c(40), 7385, 5e-4);
    relative("50 °C", wet_saturation_pa_c(50), 12352, 5e-4);
    relative("latent 40 °C", wet_latent_kj_kg(40), 2406.0, 5e-4);
    /* PsychroLib tests, values of a handbook table */
    relative("5 °C", wet_saturation_pa_c(5), 872.6, 3e-4);
    relative("25 °C", wet_saturation_pa_c(25), 3169.7, 3e-4);
    relative("50 °C", wet_saturation_pa_c(50), 12351.3, 3e-4);
    relative("100 °C", wet_saturation_pa_c(100), 101418.0, 3e-4);
    relative("25 °C 80 %", 0.8 * wet_saturation_pa_c(25), 2535.8, 3e-4);
}

static struct wet_condensate packed_at(double core_c)
{
    struct models_parameters parameters;
    struct wet_bag bag = {core_c, 22, 0.955, NAN};
    parameters_default(&parameters);
    return wet_condensate_in_bag(&bag, &parameters.typical.wet);
}

static void hot_packing_leaves_water(void **state)
{
    (void)state;
    /* a m3 of headspace cooled from 40 °C at 95 % to 20 °C drops about 31 g (computed) */
    double drop = wet_vapour_g_m3(0.95 * wet_saturation_pa_c(40), 40) -
                  wet_vapour_g_m3(wet_saturation_pa_c(20), 20);
    check_near("headspace", drop, 31, 0.6);
    /* core at wrapping about 35, 30-43 °C: science of bread making: cooling, and trade pages */
    check_near("at 35 °C dry", packed_at(35).wetness, 0, 0);
    assert_true(packed_at(43).wetness < 0.35);
    assert_true(packed_at(50).wetness > 0.4);
    double before = -1;
    for (int n_core_c = 0; 24 + 4 * n_core_c < 80; n_core_c++) {
        double core_c = 24 + 4 * n_core_c;
        struct wet_condensate c = packed_at(core_c);
        assert_true(c.valid);
        assert_true(c.wetness >= before);
        before = c.wetness;
    }
    assert_false(packed_at(10).valid);
    /* film cooler than the dew point sweats: a little below the surface's temperature at aw 0.955
     */
    check_between("dew point", packed_at(40).film_dew_point_c, 28.0, 30.1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(saturation_matches_if97),
        cmocka_unit_test(saturation_matches_tables),
        cmocka_unit_test(hot_packing_leaves_water),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
