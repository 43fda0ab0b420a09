/* Mold: cardinal growth factors, germination limits, single spores to visible packs. */
#include "check.h"

static struct models_parameters parameters;

static int defaults(void **state)
{
    (void)state;
    parameters_default(&parameters);
    return 0;
}

static const struct mold_group_values *group(enum mold_group g)
{
    return &parameters.typical.mold.group[g];
}

/* Byssochlamys fulva 9.1/32.1/46.4 °C and aw 0.893/0.985/0.993: Food Microbiology 2010, growth of
 * Byssochlamys. Form: Rosso, Lobry, Bajard, Flandrois 1995 Appl Environ Microbiol 61:610. Expected
 * values computed from these by hand. */
static void cardinal_factors_match_byssochlamys(void **state)
{
    (void)state;
    check_near("25 °C", mold_gamma_cpm(25, 9.1, 32.1, 46.4, 2), 0.8135, 5e-4);
    check_near("15 °C", mold_gamma_cpm(15, 9.1, 32.1, 46.4, 2), 0.2038, 5e-4);
    check_near("optimum", mold_gamma_cpm(32.1, 9.1, 32.1, 46.4, 2), 1, 1e-9);
    check_near("below", mold_gamma_cpm(9.0, 9.1, 32.1, 46.4, 2), 0, 1e-9);
    check_near("above", mold_gamma_cpm(47, 9.1, 32.1, 46.4, 2), 0, 1e-9);
    check_near("at the end of an even one", mold_gamma_cpm(10, 10, 20, 30, 2), 0, 0);
    check_near("aw 0.94", mold_gamma_cpm(0.94, 0.893, 0.985, 0.993, 2), 0.3062, 5e-4);
}

static void cardinal_factors_match_other_molds(void **state)
{
    (void)state;
    /* computed by hand */
    double gamma = mold_gamma_cpm(10, 4, 20, 37, 2);
    check_near("4/20/37 at 10", gamma, 0.6603, 1e-4);
    check_near("rate", 0.037 * gamma, 0.02443, 1e-4);
    /* inputs from memory: Gougouli, Koutsoumanis 2010 */
    check_near("P. expansum", mold_gamma_cpm(10, -5.74, 22.08, 30.97, 2), 0.5066, 5e-4);
    check_near("A. niger", mold_gamma_cpm(20, 10.13, 31.44, 43.13, 2), 0.4690, 5e-4);
    check_near("pH 4 of 2/5/10", mold_gamma_cpm(4, 2, 5, 10, 1), 0.9231, 5e-4);
    check_near("linear aw", mold_gamma_aw_linear(0.95, 0.80), 0.75, 1e-6);
    check_near("linear aw below", mold_gamma_aw_linear(0.79, 0.80), 0, 0);
}

static void factors_stay_between_zero_and_one(void **state)
{
    (void)state;
    for (int g = 0; g < MOLD_GROUPS; g++) {
        const struct mold_group_values *m = group((enum mold_group)g);
        for (int n_x = 0; - 20 + 0.21 * n_x < 60; n_x++) {
            double x = -20 + 0.21 * n_x;
            check_between("temperature", mold_gamma_cpm(x, m->t_min_c, m->t_opt_c, m->t_max_c, 2),
                          0, 1);
        }
        for (int n_x = 0; 0.6 + 0.003 * n_x < 1.02; n_x++) {
            double x = 0.6 + 0.003 * n_x;
            check_between("aw", mold_gamma_aw(m, &parameters.typical.mold, x), 0, 1);
            check_between("able", mold_able_share(m, &parameters.typical.mold, x), 0, 1);
        }
        check_near("best", mold_gamma_cpm(m->t_opt_c, m->t_min_c, m->t_opt_c, m->t_max_c, 2), 1,
                   1e-12);
        check_near("best", mold_gamma_aw(m, &parameters.typical.mold, m->aw_opt), 1, 1e-12);
    }
}

/* Form: Rosso, Lobry, Bajard, Flandrois 1995 Appl Environ Microbiol 61:610. */
static void inhibitor_factor_follows_its_form(void **state)
{
    (void)state;
    check_near("alpha 1", mold_gamma_inhibitor(0.5, 1, 1), 0.50, 1e-9);
    check_near("alpha 2", mold_gamma_inhibitor(0.5, 1, 2), 0.75, 1e-9);
    check_near("none", mold_gamma_inhibitor(0, 10, 1), 1, 0);
    check_near("at the MIC", mold_gamma_inhibitor(10, 10, 1), 0, 0);
    check_near("over", mold_gamma_inhibitor(12, 10, 1), 0, 0);
}

/* MIC on lag, undissociated: propionic 8-20, acetic 23-72 mmol/L over A. niger, P. corylophilum,
 * E. repens; lactic without effect on E. repens: Dagnas, Gauvry, Onno, Membré 2015 J Food Prot
 * 78(9):1689. */
static void propionic_beats_acetic(void **state)
{
    (void)state;
    const enum mold_group seen[] = {MOLD_PENICILLIUM, MOLD_ASPERGILLUS, MOLD_XEROPHILE};
    for (size_t i = 0; i < COUNT_OF(seen); i++) {
        const double *mic = group(seen[i])->mic_mmol_l;
        assert_true(mic[ACID_PROPIONIC] < mic[ACID_ACETIC]);
        check_between("propionic", mic[ACID_PROPIONIC], 8, 20);
        check_between("acetic", mic[ACID_ACETIC], 23, 72);
    }
    assert_true(group(MOLD_XEROPHILE)->mic_mmol_l[ACID_LACTIC] >= 10000);
    /* the same undissociated concentration of either */
    struct acid_mix propionic = {{[ACID_PROPIONIC] = 7}};
    struct acid_mix acetic = {{[ACID_ACETIC] = 7}};
    const struct mold_values *values = &parameters.typical.mold;
    assert_true(mold_gamma_acids(group(MOLD_PENICILLIUM), values, &propionic, 1) <
                mold_gamma_acids(group(MOLD_PENICILLIUM), values, &acetic, 1));
    /* at the MIC the lag is as often as long as the parameter says */
    propionic.mmol_l[ACID_PROPIONIC] = group(MOLD_PENICILLIUM)->mic_mmol_l[ACID_PROPIONIC];
    check_near("at the MIC", 1 / mold_gamma_acids(group(MOLD_PENICILLIUM), values, &propionic, 1),
               values->mic_lag_factor, 1e-12);
}

static struct mold_conditions plain_bread(double temp_c)
{
    struct mold_conditions c = {.ph = 5.5, .aw = 0.955, .segment_count = 1, .spores_per_pack = 1};
    c.segments[0] = (struct mold_segment){24, temp_c};
    for (int g = 0; g < MOLD_GROUPS; g++) {
        c.weights[g] = group((enum mold_group)g)->weight;
    }
    return c;
}

/* Share of packs with visible mold by an age. */
static double packs_visible(const struct mold_course *course, double age_days)
{
    return -expm1(-course->spores * mold_spores_visible(course, age_days));
}

static void a_course_is_a_distribution(void **state)
{
    struct mold_course course;
    struct mold_conditions c = plain_bread(22);
    (void)state;
    c.undissociated.mmol_l[ACID_PROPIONIC] = 8;
    mold_course_init(&course, &c, &parameters.typical.mold);
    assert_true(course.valid);
    double sum = 0;
    double before = 0;
    for (int day = 1; day <= 60; day++) {
        double share = packs_visible(&course, day);
        assert_true(share >= before);
        sum += mold_found_chance_scaled(&course, day, 1, 1, 1);
        check_near("daily chances add up", sum, share, 1e-12);
        before = share;
    }
    check_near("nothing before packing", packs_visible(&course, 0), 0, 0);
    check_between("never more than carry a spore", before, 0.5, -expm1(-1.0));
    double days = mold_free_days(&course, NAN);
    check_near("half of those that carry a spore", packs_visible(&course, days), -expm1(-1.0) / 2,
               1e-5);
    check_near("guess does not matter", mold_free_days(&course, 40), days, 1e-3);
    check_near("guess does not matter", mold_free_days(&course, 0.2), days, 1e-3);
}

static void history_is_integrated(void **state)
{
    struct mold_course warm_first;
    struct mold_course cool_first;
    struct mold_course constant;
    struct mold_conditions c = plain_bread(22);
    (void)state;
    mold_course_init(&constant, &c, &parameters.typical.mold);
    /* the same temperature in pieces is the same course */
    c.segment_count = 3;
    c.segments[0] = (struct mold_segment){13, 22};
    c.segments[1] = (struct mold_segment){40, 22};
    c.segments[2] = (struct mold_segment){1, 22};
    mold_course_init(&warm_first, &c, &parameters.typical.mold);
    for (int n_day = 0; 0.5 + 0.5 * n_day < 12; n_day++) {
        double day = 0.5 + 0.5 * n_day;
        check_near("pieces", mold_spores_visible(&warm_first, day),
                   mold_spores_visible(&constant, day), 1e-12);
    }
    /* a day in the cold costs the mold that day and a warm start is a lead */
    c.segment_count = 2;
    c.segments[0] = (struct mold_segment){48, 28};
    c.segments[1] = (struct mold_segment){24, 15};
    mold_course_init(&warm_first, &c, &parameters.typical.mold);
    c.segments[0].temp_c = 15;
    mold_course_init(&cool_first, &c, &parameters.typical.mold);
    c.segments[1].temp_c = 15;
    assert_true(mold_free_days(&warm_first, NAN) < mold_free_days(&cool_first, NAN));
    c.segment_count = 1;
    c.segments[0] = (struct mold_segment){24, -18};
    mold_course_init(&cool_first, &c, &parameters.typical.mold);
    check_near("frozen", packs_visible(&cool_first, 59), 0, 0);
    assert_true(isinf(mold_free_days(&cool_first, NAN)));
}

static void time_scale_scales_time(void **state)
{
    struct mold_values twice = parameters.typical.mold;
    struct mold_course course;
    struct mold_course slow;
    struct mold_conditions c = plain_bread(22);
    (void)state;
    twice.time_scale = 2;
    mold_course_init(&course, &c, &parameters.typical.mold);
    mold_course_init(&slow, &c, &twice);
    for (int n_day = 0; 1 + 0.7 * n_day < 12; n_day++) {
        double day = 1 + 0.7 * n_day;
        check_near("scaled", mold_spores_visible(&slow, 2 * day), mold_spores_visible(&course, day),
                   1e-12);
        check_near("on the fly", mold_spores_visible_scaled(&course, day, 2),
                   mold_spores_visible(&slow, day), 1e-12);
    }
}

static void outside_the_range_it_says_so(void **state)
{
    struct mold_course course;
    struct mold_conditions c = plain_bread(22);
    (void)state;
    c.ph = 8;
    mold_course_init(&course, &c, &parameters.typical.mold);
    assert_false(course.valid);
    assert_non_null(strstr(course.reason, "pH"));
    c = plain_bread(60);
    mold_course_init(&course, &c, &parameters.typical.mold);
    assert_false(course.valid);
    c = plain_bread(22);
    c.aw = 0.6;
    mold_course_init(&course, &c, &parameters.typical.mold);
    assert_false(course.valid);
    c = plain_bread(22);
    c.segment_count = 0;
    mold_course_init(&course, &c, &parameters.typical.mold);
    assert_false(course.valid);
    check_near("no history, nothing visible", packs_visible(&course, 10), 0, 0);
}

/* The ends of a range belong to it. */
static void the_ends_of_the_range_are_within(void **state)
{
    const struct mold_values *v = &parameters.typical.mold;
    const struct {
        size_t at;
        double least, most;
        const char *reason;
    } rows[] = {
        {offsetof(struct mold_conditions, ph), v->valid_ph_min, v->valid_ph_max, "crumb pH"},
        {offsetof(struct mold_conditions, aw), v->valid_aw_min, v->valid_aw_max, "water activity"},
        {offsetof(struct mold_conditions, segments[0].temp_c), v->valid_temp_c_min,
         v->valid_temp_c_max, "temperature"},
        {offsetof(struct mold_conditions, spores_per_pack), 0, 1e9, "spores"},
    };
    (void)state;
    for (size_t r = 0; r < COUNT_OF(rows); r++) {
        const double values[] = {rows[r].least - 1e-9, rows[r].least, rows[r].most,
                                 rows[r].most + (rows[r].least == 0 ? 0 : 1e-9), NAN};
        for (size_t i = 0; i < COUNT_OF(values); i++) {
            struct mold_course course;
            struct mold_conditions c = plain_bread(22);
            memcpy((char *)&c + rows[r].at, &values[i], sizeof values[i]);
            mold_course_init(&course, &c, v);
            bool inside = values[i] >= rows[r].least && values[i] <= rows[r].most;
            assert_int_equal(course.valid, inside);
            assert_int_equal(strncmp(course.reason, rows[r].reason, strlen(rows[r].reason)) == 0,
                             !inside);
        }
    }
}

/* Frozen at the end of its tenth day, no spore grows further; until then it did. */
static void a_stretch_ends_when_it_ends(void **state)
{
    struct lot_conditions lot = lot_with_dose("calcium-propionate", 0);
    struct mold_course course;
    (void)state;
    lot.segment_count = 2;
    lot.segments[0] = (struct mold_segment){240, 25};
    lot.segments[1] = (struct mold_segment){24, -18};
    predict_mold_course(&lot, NULL, &parameters, &course);
    assert_true(course.valid);
    const double at_end = mold_spores_visible(&course, 10);
    assert_true(at_end > 0 && mold_spores_visible(&course, 9.5) < at_end);
    check_near("a day later", mold_spores_visible(&course, 11), at_end, 1e-9);
    check_near("ten days later", mold_spores_visible(&course, 20), at_end, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cardinal_factors_match_byssochlamys),
        cmocka_unit_test(cardinal_factors_match_other_molds),
        cmocka_unit_test(factors_stay_between_zero_and_one),
        cmocka_unit_test(inhibitor_factor_follows_its_form),
        cmocka_unit_test(propionic_beats_acetic),
        cmocka_unit_test(a_course_is_a_distribution),
        cmocka_unit_test(history_is_integrated),
        cmocka_unit_test(time_scale_scales_time),
        cmocka_unit_test(outside_the_range_it_says_so),
        cmocka_unit_test(the_ends_of_the_range_are_within),
        cmocka_unit_test(a_stretch_ends_when_it_ends),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
