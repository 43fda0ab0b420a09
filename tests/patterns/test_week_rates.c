/* What a rate was at another time, and how the two compare. */
#include "check.h"
#include "patterns/week_data.h"
#include "patterns/week_rates.h"
#include "stats/poisson.h"
#include <math.h>

enum { MOLD = 0, LAST = WEEK_SPAN - 1 };

static struct week_level of(double complaints, double units)
{
    struct week_level level = {.level = NULL};
    level.counts[MOLD][LAST] = complaints;
    level.units[LAST] = units;
    return level;
}

static double number(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    assert_non_null(value);
    return json_is_null(value) ? NAN : json_number_value(value);
}

static void near(double is, double wanted)
{
    if (isnan(wanted) != isnan(is) || fabs(is - wanted) > 1e-9 * (1 + fabs(wanted)))
        fail_msg("%.12g is not %.12g", is, wanted);
}

/* The limits: stats/poisson.h, of the same numbers. */
static void a_rate_is_compared_with_what_it_was(void **state)
{
    static const struct {
        long now, was;
        double now_units, was_units, ratio; /* NAN: none */
    } ROWS[] = {
        {6, 30, 1e6, 1e6, 0.2}, {30, 6, 1e6, 1e6, 5},  {12, 12, 1e6, 2e6, 2}, {0, 8, 1e6, 1e6, 0},
        {8, 0, 1e6, 1e6, NAN},  {0, 0, 1e6, 1e6, NAN}, {3, 3, 0, 1e6, NAN},   {3, 3, 1e6, 0, NAN},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        const struct week_level now = of((double)ROWS[i].now, ROWS[i].now_units);
        const struct week_level was = of((double)ROWS[i].was, ROWS[i].was_units);
        struct poisson_ratio wanted = {0};
        json_t *told = week_rates_compare_json(&now, &was, MOLD);
        near(number(told, "complaints"), (double)ROWS[i].was);
        near(number(told, "units"), ROWS[i].was_units);
        near(number(told, "per_million"),
             ROWS[i].was_units > 0 ? (double)ROWS[i].was * 1e6 / ROWS[i].was_units : NAN);
        near(number(told, "ratio"), ROWS[i].ratio);
        bool limits = ROWS[i].now + ROWS[i].was > 0 && ROWS[i].now_units > 0 &&
                      ROWS[i].was_units > 0 &&
                      !poisson_compare(ROWS[i].now, ROWS[i].now_units, ROWS[i].was,
                                       ROWS[i].was_units, 0.95, &wanted);
        near(number(told, "low"), limits ? wanted.exact.low : NAN);
        near(number(told, "high"), limits && isfinite(wanted.exact.high) ? wanted.exact.high : NAN);
        json_decref(told);
    }
}

static void nothing_is_compared_with_what_was_not(void **state)
{
    const struct week_level now = of(6, 1e6);
    json_t *told = week_rates_compare_json(&now, NULL, MOLD);
    (void)state;
    near(number(told, "complaints"), 0);
    near(number(told, "units"), 0);
    near(number(told, "per_million"), NAN);
    near(number(told, "ratio"), NAN);
    json_decref(told);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_rate_is_compared_with_what_it_was),
        cmocka_unit_test(nothing_is_compared_with_what_was_not),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
