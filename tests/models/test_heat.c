/* Heat: one-term solutions, fits to end points, lethality, the enzyme's window. */
#include "check.h"

static struct models_parameters parameters;

static int defaults(void **state)
{
    (void)state;
    parameters_default(&parameters);
    return 0;
}

/* One-term coefficients, textbook table of transient conduction (scribd.com/document/599988189):
 * Bi, then root and coefficient of wall, cylinder and sphere. */
static void roots_match_the_textbook_table(void **state)
{
    static const struct {
        double biot, root[3], coefficient[3];
    } rows[] = {
        {0.1, {0.3111, 0.4417, 0.5423}, {1.0161, 1.0246, 1.0298}},
        {0.5, {0.6533, 0.9408, 1.1656}, {1.0701, 1.1143, 1.1441}},
        {1, {0.8603, 1.2558, 1.5708}, {1.1191, 1.2071, 1.2732}},
        {2, {1.0769, 1.5995, 2.0288}, {1.1785, 1.3384, 1.4793}},
        {5, {1.3138, 1.9898, 2.5704}, {1.2403, 1.5029, 1.7870}},
        {10, {1.4289, 2.1795, 2.8363}, {1.2620, 1.5677, 1.9249}},
    };
    (void)state;
    for (size_t r = 0; r < COUNT_OF(rows); r++) {
        for (int s = HEAT_WALL; s <= HEAT_SPHERE; s++) {
            double root = heat_root((enum heat_shape)s, rows[r].biot);
            check_near("root", root, rows[r].root[s], 1e-4);
            check_near("coefficient", heat_coefficient((enum heat_shape)s, root),
                       rows[r].coefficient[s], 1e-4);
        }
    }
    check_near("surface held", heat_root(HEAT_CYLINDER, INFINITY), 2.404825557695773, 1e-12);
}

static void cores_cool_as_computed(void **state)
{
    bool valid = false;
    (void)state;
    /* computed from the roots above; Fo is a t / L2 = t in minutes for L 1 m, a 1/60 m2/s */
    struct heat_body body = {HEAT_WALL, 1, 1, 1.0 / 60};
    check_near("wall Bi 1 Fo 1", heat_core_ratio(&body, 1, &valid), 0.5339, 5e-4);
    assert_true(valid);
    body.shape = HEAT_CYLINDER;
    check_near("cylinder Bi 1 Fo 0.5", heat_core_ratio(&body, 0.5, NULL), 0.5486, 5e-4);
    body.shape = HEAT_SPHERE;
    check_near("sphere Bi 1 Fo 0.5", heat_core_ratio(&body, 0.5, NULL), 0.3708, 5e-4);
    heat_core_ratio(&body, 0.1, &valid);
    assert_false(valid);
    /* L 0.1 m, k 20, h 100 W/m2K, a 20e-6 m2/s, 600 s: inputs of the one-term wall note, University
     * of Waterloo (dfwall1term1) */
    struct heat_body wall = {HEAT_WALL, 0.1, 100 * 0.1 / 20, 20e-6};
    check_near("Fo", heat_fourier(&wall, 10), 1.2, 1e-12);
    check_near("wall note", heat_core_ratio(&wall, 10, NULL), 0.641, 0.001);
    struct heat_body loaf = {HEAT_CYLINDER, 0.055, 2, 3e-7};
    check_near("97 -> 35 °C in 22 °C", heat_minutes_to(&loaf, 97, 22, 35, NULL), 134, 1);
    loaf.diffusivity_m2_s = 2.0e-7;
    check_near("slower crumb", heat_minutes_to(&loaf, 97, 22, 35, NULL), 201, 1);
    assert_true(isnan(heat_minutes_to(&loaf, 97, 22, 20, NULL)));
}

static void fits_return_what_was_put_in(void **state)
{
    struct heat_body loaf = {HEAT_CYLINDER, 0.055, 2, 3e-7};
    (void)state;
    double core_c = heat_core_c(&loaf, 97, 22, 100, NULL);
    check_near("diffusivity", heat_fit_diffusivity(&loaf, 97, 22, core_c, 100), 3e-7, 1e-12);
    check_near("Biot", heat_fit_biot(&loaf, 97, 22, core_c, 100), 2, 1e-6);
    assert_true(isnan(heat_fit_biot(&loaf, 97, 22, 10, 100)));
    assert_true(isnan(heat_fit_diffusivity(&loaf, 97, 22, 10, 100)));
}

/* Crumb and crust over porosity: J Food Eng 1995 26:497, thermal diffusivity against porosity. */
static void crumb_properties_follow_porosity(void **state)
{
    (void)state;
    check_near("crumb density", heat_crumb_density_kg_m3(75), 236.5, 0.1);
    check_near("crumb diffusivity", heat_crumb_diffusivity_m2_s(75), 5.043e-7, 5.043e-10);
    check_near("crust density", heat_crust_density_kg_m3(75), 220, 0.22);
    check_near("crust diffusivity", heat_crust_diffusivity_m2_s(75), 3.608e-7, 3.608e-10);
}

static void lethality_adds_up(void **state)
{
    static const struct heat_point series[] = {{0, 80}, {1, 85}, {2, 90}, {3, 90}, {4, 80}};
    (void)state;
    check_near("rate", heat_lethal_rate(95, 100, 10), 0.3162, 1e-4);
    /* 82.2 °C is the reference of Aspergillus chevalieri ascospores (Pitt, Christian 1970);
     * integral computed by hand */
    check_near("F", heat_lethality_min(series, COUNT_OF(series), 82.2, 10), 14.559, 0.002);
    /* Bacillus subtilis 168: D98 18 min, D111 0.22 min: Kort et al. 2005 Appl Environ Microbiol */
    double z = heat_z_from_d(98, 18, 111, 0.22);
    check_near("z", z, 6.80, 0.02);
    double d100 = 18 * heat_lethal_rate(98, 100, z);
    check_near("D100", d100, 9.14, 0.03);
    check_near("log kill", heat_log_kill(5, 9.14), 0.547, 0.002);
    /* z of 23 °F: heat resistance of xerophilic fungi, Pitt, Christian 1970 */
    check_near("23 °F", 23 / 1.8, 12.78, 0.01);
    check_near("one point", heat_lethality_min(series, 1, 82.2, 10), 0, 0);
}

static void minutes_in_a_window_are_counted(void **state)
{
    static const struct heat_point series[] = {{0, 30}, {10, 70}, {14, 90}, {20, 98}, {60, 38}};
    (void)state;
    /* up: 60-70 takes 2.5 of 10 min, 70-85 takes 3 of 4; down 85-60 takes 25/60 of 40 min */
    check_near("60-85", heat_minutes_within(series, COUNT_OF(series), 60, 85),
               2.5 + 3 + 25.0 / 60 * 40, 1e-9);
    check_near("at 12", heat_series_at(series, COUNT_OF(series), 12), 80, 1e-12);
    check_near("before", heat_series_at(series, COUNT_OF(series), -5), 30, 0);
    check_near("after", heat_series_at(series, COUNT_OF(series), 99), 38, 0);
    assert_true(isnan(heat_series_at(series, 0, 1)));
    /* common practice, no source: starch gelatinizes at 140-167 °F */
    check_between("from", (140 - 32) / 1.8, parameters.low.heat.gel_from_c, 62);
    check_between("to", (167 - 32) / 1.8, parameters.low.heat.gel_to_c - 0.1,
                  parameters.high.heat.gel_to_c);
}

/* Doyle, Marth 1975 J Milk Food Technol 38:678: D60 of Aspergillus conidia 8-59 s, z about 3.5 K.
 * No mold conidium outlives a bake; rope spores do: half germinate in dough, the others do not mind
 * 98 °C for minutes (survival of B. subtilis spores in baking 1954 J Sci Food Agric 5:292). */
static void a_bake_kills_mold_not_rope(void **state)
{
    static const struct heat_point bake[] = {{0, 32}, {12, 60}, {18, 85}, {25, 97}, {30, 98}};
    (void)state;
    double mold = heat_log_kill(heat_lethality_min(bake, COUNT_OF(bake), 60, 3.6), 59.0 / 60);
    double rope = heat_log_kill(heat_lethality_min(bake, COUNT_OF(bake), 98, 6.8), 18);
    assert_true(mold > 12);
    assert_true(rope < 1);
}

static void a_shorter_bake_leaves_the_enzyme_less_time(void **state)
{
    const struct heat_values *v = &parameters.typical.heat;
    (void)state;
    double usual = heat_bake_enzyme_min(v, NAN, NAN);
    check_between("usual", usual, 3, 12);
    assert_true(heat_bake_enzyme_min(v, 15, 98) < usual);
    assert_true(heat_bake_enzyme_min(v, 35, 98) > usual);
    /* never out of the window: the time from its start to the end of bake */
    check_between("raw", heat_bake_enzyme_min(v, 25, 80), 1, 15);
    check_near("not even into it", heat_bake_enzyme_min(v, 25, 55), 0, 0);
}

/* Core at slicing and wrapping about 35 °C after 60-120 min (science of bread making: cooling;
 * times from memory). */
static void less_cooling_packs_hotter(void **state)
{
    const struct heat_values *v = &parameters.typical.heat;
    (void)state;
    check_between("usual", heat_core_at_pack_c(v, NAN, NAN, NAN), 30, 43);
    assert_true(heat_core_at_pack_c(v, 98, 60, 24) > heat_core_at_pack_c(v, 98, 110, 24) + 5);
    assert_true(heat_core_at_pack_c(v, 98, 110, 32) > heat_core_at_pack_c(v, 98, 110, 24));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(roots_match_the_textbook_table),
        cmocka_unit_test(cores_cool_as_computed),
        cmocka_unit_test(fits_return_what_was_put_in),
        cmocka_unit_test(crumb_properties_follow_porosity),
        cmocka_unit_test(lethality_adds_up),
        cmocka_unit_test(minutes_in_a_window_are_counted),
        cmocka_unit_test(a_bake_kills_mold_not_rope),
        cmocka_unit_test(a_shorter_bake_leaves_the_enzyme_less_time),
        cmocka_unit_test(less_cooling_packs_hotter),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
