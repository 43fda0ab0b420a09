#include "check.h"
#include "intake/report.h"
#include <jansson.h>

static json_t *parse(const char *text)
{
    json_t *value = json_loads(text, 0, NULL);
    assert_non_null(value);
    return value;
}

static void check_merge(const char *first, const char *report, const char *together,
                        const char *brought, const char *differs)
{
    json_t *a = parse(first), *b = parse(report), *want = parse(together);
    json_t *want_brought = parse(brought), *want_differs = parse(differs);
    json_t *got_brought = json_array(), *got_differs = json_array();
    json_t *before = json_deep_copy(a);
    json_t *got = report_merge(a, b, got_brought, got_differs);
    assert_true(json_equal(got, want));
    assert_true(json_equal(got_brought, want_brought));
    assert_true(json_equal(got_differs, want_differs));
    assert_true(json_equal(a, before)); /* neither is changed */
    json_decref(got);
    got = report_merge(a, b, NULL, NULL);
    assert_true(json_equal(got, want));
    json_t *all[] = {a, b, want, want_brought, want_differs, got_brought, got_differs, before, got};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        json_decref(all[i]);
}

static void what_was_unknown_is_taken(void **state)
{
    (void)state;
    check_merge("{\"id\":\"1\",\"symptom\":\"mold\"}",
                "{\"id\":\"2\",\"symptom\":\"mold\",\"lot_text\":\"L2\",\"note\":\"again\","
                "\"same_as\":\"1\",\"channel\":\"web\",\"observed\":{\"kept\":\"warm\"}}",
                "{\"id\":\"1\",\"symptom\":\"mold\",\"lot_text\":\"L2\","
                "\"observed\":{\"kept\":\"warm\"}}",
                "[\"lot_text\",\"observed/kept\"]", "[]");
}

static void what_was_known_stays_and_is_named(void **state)
{
    (void)state;
    check_merge("{\"store\":\"1\",\"observed\":{\"spots\":3,\"bag\":\"sound\"}}",
                "{\"store\":\"2\",\"observed\":{\"spots\":5,\"bag\":\"sound\"}}",
                "{\"store\":\"1\",\"observed\":{\"spots\":3,\"bag\":\"sound\"}}", "[]",
                "[{\"field\":\"store\",\"complaint\":\"1\",\"report\":\"2\"},"
                "{\"field\":\"observed/spots\",\"complaint\":3,\"report\":5}]");
}

static void harm_of_either_is_harm(void **state)
{
    (void)state;
    check_merge("{\"harm\":[]}", "{\"harm\":[\"illness\"]}", "{\"harm\":[\"illness\"]}",
                "[\"harm\"]", "[]");
    check_merge("{\"harm\":[\"injury\"]}", "{\"harm\":[\"illness\",\"injury\"]}",
                "{\"harm\":[\"injury\",\"illness\"]}", "[\"harm\"]", "[]");
    check_merge("{\"harm\":[\"illness\"]}", "{\"harm\":[]}", "{\"harm\":[\"illness\"]}", "[]",
                "[]");
    /* asked and told no is more than not asked */
    check_merge("{}", "{\"harm\":[]}", "{\"harm\":[]}", "[\"harm\"]", "[]");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_unknown_is_taken),
        cmocka_unit_test(what_was_known_stays_and_is_named),
        cmocka_unit_test(harm_of_either_is_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
