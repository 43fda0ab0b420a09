/* Pareto order. */
#include "checks.h"

#include "base/error.h"
#include "stats/pareto.h"

static void order_and_cut(void **state)
{
    (void)state;
    const char *id = "W9-PARETO", *name;
    struct pareto_row rows[16];
    size_t n = 0;
    json_t *counts = check_input(id, "counts"), *count;
    json_object_foreach(counts, name, count) rows[n++] =
        (struct pareto_row){.name = name, .count = json_number_value(count)};
    rows[n - 1].count = json_number_value(json_object_get(counts, rows[n - 1].name));
    assert_int_equal(pareto_order(rows, n, "other", 0.8), 0);
    json_t *want = check_wanted(id, "rows_[name,count,pct,cum]");
    json_t *vital = check_wanted(id, "vital_few_80pct");
    assert_int_equal(n, json_array_size(want));
    for (size_t i = 0; i < n; i++) {
        json_t *row = json_array_get(want, i);
        assert_string_equal(rows[i].name, json_string_value(json_array_get(row, 0)));
        near_value("share", 100 * rows[i].share, json_number_value(json_array_get(row, 2)), 0,
                   1e-9);
        near_value("cum", 100 * rows[i].cumulative, json_number_value(json_array_get(row, 3)), 0,
                   1e-9);
        assert_true(rows[i].vital == (i < json_array_size(vital)));
    }
}

static void other_last_and_nothing(void **state)
{
    (void)state;
    struct pareto_row rows[] = {
        {.name = "other", .count = 50}, {.name = "b", .count = 1.5}, {.name = "a", .count = 1.5}};
    assert_int_equal(pareto_order(rows, 3, "other", 0.8), 0);
    assert_string_equal(rows[0].name, "a");
    assert_string_equal(rows[2].name, "other");
    struct pareto_row none[] = {{.name = "a", .count = 0}};
    assert_int_equal(pareto_order(none, 1, NULL, 0.8), 0);
    assert_true(none[0].share == 0 && !none[0].vital);
    none[0].count = -1;
    assert_int_equal(pareto_order(none, 1, NULL, 0.8), ERROR_INVALID);
    assert_int_equal(pareto_order(none, 0, "other", 0.8), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(order_and_cut),
        cmocka_unit_test(other_last_and_nothing),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}
