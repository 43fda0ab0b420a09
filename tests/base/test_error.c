#include "check.h"

#include "base/error.h"
#include <string.h>

static void first_error_wins(void **state)
{
    (void)state;
    struct error err = {0};
    assert_int_equal(error_set(&err, ERROR_INVALID, "is %d too many", 3), ERROR_INVALID);
    assert_int_equal(error_set(&err, ERROR_IO, "later"), ERROR_IO);
    assert_int_equal(err.code, ERROR_INVALID);
    assert_string_equal(err.text, "is 3 too many");
    error_clear(&err);
    assert_int_equal(err.code, ERROR_NONE);
    assert_string_equal(err.text, "");
}

static void null_is_allowed(void **state)
{
    (void)state;
    assert_int_equal(error_set(NULL, ERROR_BUSY, "x"), ERROR_BUSY);
    error_at(NULL, "a", 1, 1);
    error_field(NULL, "a", "b");
    error_hint(NULL, "%s", "x");
    error_clear(NULL);
}

static void whole_message(void **state)
{
    (void)state;
    char line[512];
    struct error err = {0};
    error_set(&err, ERROR_INVALID, "is not a number");
    assert_string_equal(error_format(&err, line, sizeof line), "is not a number");
    error_field(&err, "ph", "5,4");
    assert_string_equal(error_format(&err, line, sizeof line), "ph '5,4': is not a number");
    error_at(&err, NULL, 12, 0);
    assert_string_equal(error_format(&err, line, sizeof line),
                        "line 12: ph '5,4': is not a number");
    error_at(&err, "bake.csv", 0, 3);
    error_hint(&err, "write a decimal %s", "point");
    assert_string_equal(error_format(&err, line, sizeof line),
                        "bake.csv:12:3: ph '5,4': is not a number (write a decimal point)");
    error_field(&err, NULL, "5.4");
    assert_string_equal(err.field, "ph");
    assert_string_equal(err.value, "5.4");
    assert_string_equal(error_format(&err, line, 9), "bake.csv");
}

static void long_and_hostile_values_are_cut(void **state)
{
    (void)state;
    struct error err = {0};
    char value[400];
    memset(value, 'x', sizeof value - 1);
    value[sizeof value - 1] = '\0';
    memcpy(value, "a\r\n\x1b[2J", 7);
    error_field(&err, NULL, value);
    assert_int_equal(strlen(err.value), sizeof err.value - 1);
    assert_memory_equal(err.value, "a???[2Jx", 8);
    /* the cut never splits a character: 127 bytes hold 63 two-byte letters */
    for (size_t i = 0; i + 2 < sizeof value; i += 2)
        memcpy(value + i, "\u00e9", 2);
    value[sizeof value - 2] = '\0';
    error_field(&err, NULL, value);
    assert_int_equal(strlen(err.value), 126);
}

static void words(void **state)
{
    (void)state;
    assert_string_equal(error_word(ERROR_NONE), "none");
    assert_string_equal(error_word(ERROR_NOT_FOUND), "not-found");
    assert_string_equal(error_word(ERROR_UNREACHABLE), "unreachable");
    assert_string_equal(error_word(ERROR_LOST), "lost");
    assert_string_equal(error_word((enum error_code) - 99), "internal");
    assert_string_equal(error_word((enum error_code)5), "internal");
    struct error err = {.code = ERROR_NO_SPACE};
    char line[64];
    assert_string_equal(error_format(&err, line, sizeof line), "no-space");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first_error_wins),
        cmocka_unit_test(null_is_allowed),
        cmocka_unit_test(whole_message),
        cmocka_unit_test(long_and_hostile_values_are_cut),
        cmocka_unit_test(words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
