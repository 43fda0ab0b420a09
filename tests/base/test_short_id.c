#include "base/short_id.h"
#include "check.h"

static void names_go_both_ways(void **state)
{
    (void)state;
    int64_t number = 0;
    assert_string_equal(CASE_ID(12), "C12");
    assert_string_equal(HOLD_ID(INT64_MAX), "H9223372036854775807");
    assert_true(short_id_parse(SHORT_ID_CASE, "C12", &number));
    assert_int_equal(number, 12);
    assert_true(short_id_parse(SHORT_ID_CASE, "c13", &number));
    assert_int_equal(number, 13);
    assert_true(short_id_parse(SHORT_ID_HOLD, "14", &number));
    assert_int_equal(number, 14);
    json_t *named = CASE_ID_JSON(7), *none = CASE_ID_JSON(0);
    assert_string_equal(json_string_value(named), "C7");
    assert_true(json_is_null(none));
    json_decref(named);
}

static void other_words_are_none(void **state)
{
    static const char *const WORDS[] = {
        "",   "C",  "C0", "0",    "C-1",  "C1x", "CC1",
        "H1", " 1", "+1", "C 12", "C1.5", "1C",  "C99999999999999999999"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(WORDS); i++) {
        int64_t number = 77;
        if (short_id_parse(SHORT_ID_CASE, WORDS[i], &number) || number != 77)
            fail_msg("%s", WORDS[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_go_both_ways),
        cmocka_unit_test(other_words_are_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
