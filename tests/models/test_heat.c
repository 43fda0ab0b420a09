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
    assert_true(
        isnan(heat_minutes_to(&loaf, 97, 22, 150, NULL)));        /* hotter than it can have been */
    assert_true(isnan(heat_minutes_to(&loaf, 97, 22, 22, NULL))); /* never */
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
    assert_true(isnan(heat_fit_diffusivity(&loaf, 97, 22, 10, 100)));
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
        cmocka_unit_test(a_shorter_bake_leaves_the_enzyme_less_time),
        cmocka_unit_test(less_cooling_packs_hotter),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
