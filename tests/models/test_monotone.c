/* What any baker knows holds everywhere: more acid, a lower pH, a drier, colder, cleaner pack or
 * one packed cooler never molds earlier, and no small change of the dose makes a large one in days.
 * Over grids of all other arguments; on low, typical and high alike. */
#include "check.h"

static struct models_parameters parameters;

static int defaults(void **state)
{
    (void)state;
    parameters_default(&parameters);
    return 0;
}

/* One lot in the plain numbers that the grids run over. */
struct point {
    double dose_pct, ph, aw, temp_c, spores, core_c;
};

/* Rises along it mold earlier; the dose falls along its grid, so that all do. */
static const struct axis {
    const char *name;
    size_t member;
    double from, step;
    int steps;
} axes[] = {
    {"dose", offsetof(struct point, dose_pct), 0.5, -0.02, 26},
    {"pH", offsetof(struct point, ph), 4.2, 0.08, 33},
    {"water activity", offsetof(struct point, aw), 0.745, 0.008, 31},
    /* to the coldest optimum of the groups */
    {"temperature", offsetof(struct point, temp_c), 0, 1, 26},
    {"spores", offsetof(struct point, spores), 0.05, 0.5, 30},
    {"core at packing", offsetof(struct point, core_c), 24, 1, 31},
};

static struct spread_range days_at(const struct point *p)
{
    struct lot_conditions lot = lot_with_dose("calcium-propionate", p->dose_pct);
    struct mold_prediction prediction;
    lot.crumb_ph = p->ph;
    lot.crumb_aw = p->aw;
    lot.spores_per_pack = p->spores;
    lot.core_at_pack_c = p->core_c;
    predict_mold(lot_kept_at(&lot, p->temp_c), NULL, &parameters, &prediction);
    assert_true(prediction.valid);
    return prediction.mold_free_days;
}

static double told(double days)
{
    return fmin(days, parameters.typical.mold.horizon_days);
}

static double *member_of(struct point *p, const struct axis *axis)
{
    return (double *)(void *)((char *)p + axis->member);
}

static void never_later(const struct axis *axis, double value, const char *end, double before,
                        double now)
{
    if (told(now) > told(before) * (1 + 1e-4)) {
        fail_msg("%s %.4g: %s goes up from %.4f to %.4f days", axis->name, value, end, before, now);
    }
}

static void walk(const struct axis *axis, struct point p)
{
    struct spread_range before = {INFINITY, INFINITY, INFINITY};
    for (int i = 0; i < axis->steps; i++) {
        double *value = member_of(&p, axis);
        *value = fmax(axis->from + axis->step * i, 0);
        struct spread_range now = days_at(&p);
        assert_true(now.low <= now.typical && now.typical <= now.high);
        never_later(axis, *value, "low", before.low, now.low);
        never_later(axis, *value, "typical", before.typical, now.typical);
        never_later(axis, *value, "high", before.high, now.high);
        before = now;
    }
}

static void no_argument_works_backwards(void **state)
{
    static const struct point corners[] = {
        {0, 5.4, 0.955, 22, 1, 36},     {0.3, 5.4, 0.955, 22, 1, 36}, {0.2, 5.0, 0.955, 22, 1, 36},
        {0.45, 4.6, 0.94, 18, 0.3, 32}, {0.3, 5.8, 0.97, 24, 5, 44},  {0.1, 6.6, 0.86, 21, 1, 30},
        {0, 6.8, 0.80, 21, 2, 28},      {0.25, 5.2, 0.955, 8, 1, 40},
    };
    (void)state;
    for (size_t c = 0; c < COUNT_OF(corners); c++) {
        for (size_t a = 0; a < COUNT_OF(axes); a++) {
            walk(&axes[a], corners[c]);
        }
    }
}

/* A tenth more inhibitor, of 0.1 to 0.5 % on flour: at most 1.6 times the days. */
static void no_cliff_in_the_dose(void **state)
{
    (void)state;
    for (int n_ph = 0; n_ph < 8; n_ph++) {
        struct point p = {0, 4.4 + 0.2 * n_ph, 0.955, 22, 1, 38};
        for (p.dose_pct = 0.1; p.dose_pct < 0.455; p.dose_pct *= 1.05) {
            struct point more = p;
            more.dose_pct *= 1.1;
            struct spread_range a = days_at(&p);
            struct spread_range b = days_at(&more);
            check_between("low", b.low / a.low, 1, 1.6);
            check_between("typical", b.typical / a.typical, 1, 1.6);
            check_between("high", b.high / a.high, 1, 1.6);
        }
    }
}

/* The days that are told end there; the predictions that are compared and spread do not. */
static void the_horizon_is_no_value(void **state)
{
    struct models_parameters far = parameters;
    struct lot_conditions lot = lot_with_dose("calcium-propionate", 0.35);
    struct mold_prediction near_by;
    struct mold_prediction far_off;
    (void)state;
    lot.crumb_ph = 5.0;
    far.low.mold.horizon_days = far.typical.mold.horizon_days = far.high.mold.horizon_days = 12;
    predict_mold(&lot, NULL, &parameters, &near_by);
    predict_mold(&lot, NULL, &far, &far_off);
    assert_true(near_by.mold_free_days.typical > 12);
    check_near("low", far_off.mold_free_days.low, near_by.mold_free_days.low, 1e-9);
    check_near("typical", far_off.mold_free_days.typical, near_by.mold_free_days.typical, 1e-9);
    check_near("high", far_off.mold_free_days.high, near_by.mold_free_days.high, 1e-9);
    /* frozen, it never comes: not on any day */
    predict_mold(lot_kept_at(&lot, -18), NULL, &parameters, &near_by);
    assert_true(isinf(near_by.mold_free_days.typical) && isinf(near_by.mold_free_days.high));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_argument_works_backwards),
        cmocka_unit_test(no_cliff_in_the_dose),
        cmocka_unit_test(the_horizon_is_no_value),
    };
    return cmocka_run_group_tests(tests, defaults, NULL);
}
