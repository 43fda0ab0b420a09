/* Parameters: the built-in table and rules/models.json are the same; setting by name. */
#include "check.h"

#include "base/error.h"

#include <jansson.h>

static void rule_file_table_and_struct_agree(void **state)
{
    bool covered[sizeof(struct models_values) / sizeof(double)] = {false};
    json_error_t error;
    json_t *file = json_load_file(ODDLOAF_SOURCE_DIR "/rules/models.json", 0, &error);
    json_t *rows = json_object_get(file, "parameters");
    json_t *row;
    size_t i;
    (void)state;
    if (!file) {
        fail_msg("rules/models.json:%d: %s", error.line, error.text);
    }
    json_array_foreach(rows, i, row)
    {
        const char *name = json_string_value(json_object_get(row, "name"));
        const struct parameter *built_in = parameters_find(name);
        assert_non_null(built_in);
        assert_true(built_in->low <= built_in->typical && built_in->typical <= built_in->high);
        assert_false(covered[built_in->offset / sizeof(double)]);
        covered[built_in->offset / sizeof(double)] = true;
        check_near(name, json_number_value(json_object_get(row, "low")), built_in->low, 0);
        check_near(name, json_number_value(json_object_get(row, "typical")), built_in->typical, 0);
        check_near(name, json_number_value(json_object_get(row, "high")), built_in->high, 0);
        /* every value says where it is from, and memory says so */
        const char *mark = json_string_value(json_object_get(row, "mark"));
        const char *source = json_string_value(json_object_get(row, "source"));
        assert_true(strlen(source) > 5);
        assert_non_null(strstr("RCMI", mark));
        if (strcmp(mark, "M") == 0) {
            assert_non_null(strstr(source, "from memory"));
        }
    }
    json_decref(file);
    for (size_t v = 0; v < COUNT_OF(covered); v++) {
        if (!covered[v]) {
            fail_msg("value %zu of struct models_values has no row", v);
        }
    }
}

static void values_are_set_by_name(void **state)
{
    struct models_parameters p;
    double low = 0;
    double typical = 0;
    double high = 0;
    const char *offender = NULL;
    (void)state;
    parameters_default(&p);
    assert_true(parameters_consistent(&p, NULL));
    assert_int_equal(parameters_set(&p, "mold.penicillium.lag_opt_h", 30, 45, 60), 0);
    check_near("set", p.typical.mold.group[MOLD_PENICILLIUM].lag_opt_h, 45, 0);
    check_near("low", p.low.mold.group[MOLD_PENICILLIUM].lag_opt_h, 30, 0);
    assert_int_equal(parameters_get(&p, "mold.penicillium.lag_opt_h", &low, &typical, &high), 0);
    check_near("high", high, 60, 0);
    assert_int_equal(parameters_set(&p, "mold.no_such", 1, 2, 3), ERROR_NOT_FOUND);
    assert_int_equal(parameters_get(&p, "mold.no_such", &low, &typical, &high), ERROR_NOT_FOUND);
    assert_int_equal(parameters_set(&p, "mold.mic_order", 2, 1, 3), ERROR_INVALID);
    assert_int_equal(parameters_set(&p, "mold.mic_order", 1, NAN, 3), ERROR_INVALID);
    assert_int_equal(parameters_set(&p, "mold.mic_order", 1, 1, INFINITY), ERROR_INVALID);
    check_near("kept", p.typical.mold.mic_order, parameters_find("mold.mic_order")->typical, 0);
    assert_int_equal(parameters_set(&p, "mold.penicillium.t_max_c", 10, 20, 30), 0);
    assert_false(parameters_consistent(&p, &offender));
    assert_string_equal(offender, "penicillium");
}

/* What must lie in order: where two of it meet, or change places, in whichever of low, typical and
 * high, the group is named. */
static void what_is_out_of_order_is_named(void **state)
{
    static const struct {
        const char *below, *above, *of;
    } rows[] = {
        {"t_min_c", "t_opt_c", "mold.penicillium"},
        {"t_opt_c", "t_max_c", "mold.penicillium"},
        {"aw_min", "aw_line", "mold.penicillium"},
        {"aw_line", "aw_opt", "mold.penicillium"},
        {NULL, "lag_opt_h", "mold.penicillium"},
        {NULL, "radial_opt_mm_d", "mold.penicillium"},
        {"t_min_c", "t_opt_c", "rope"},
        {"t_opt_c", "t_max_c", "rope"},
        {"ph_min", "ph_opt", "rope"},
        {"ph_opt", "ph_max", "rope"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        for (int corner = 0; corner < 3; corner++) {
            char below[64], above[64];
            snprintf(below, sizeof below, "%s.%s", rows[i].of, rows[i].below ? rows[i].below : "");
            snprintf(above, sizeof above, "%s.%s", rows[i].of, rows[i].above);
            struct models_parameters p;
            double floor[3] = {0}, value[3];
            parameters_default(&p);
            if (rows[i].below)
                assert_int_equal(parameters_get(&p, below, &floor[0], &floor[1], &floor[2]), 0);
            assert_int_equal(parameters_get(&p, above, &value[0], &value[1], &value[2]), 0);
            struct models_values *at[] = {&p.low, &p.typical, &p.high};
            *(double *)((char *)at[corner] + parameters_find(above)->offset) = floor[corner];
            const char *name = "none";
            assert_false(parameters_consistent(&p, &name));
            assert_false(parameters_consistent(&p, NULL));
            assert_string_equal(name, strchr(rows[i].of, '.') ? "penicillium" : "rope");
        }
    }
    struct models_parameters p;
    parameters_default(&p);
    p.high.mold.group[MOLD_GROUPS - 1].weight = 0; /* a mold that is not there is in order */
    assert_true(parameters_consistent(&p, NULL));
    p.high.mold.group[MOLD_GROUPS - 1].weight = -0.1;
    assert_false(parameters_consistent(&p, NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rule_file_table_and_struct_agree),
        cmocka_unit_test(values_are_set_by_name),
        cmocka_unit_test(what_is_out_of_order_is_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
