/* What is kept of one who called: names before a correction, what texts said first, the keys that
 * all of it is found by. */
#include "base/jsonx.h"
#include "check.h"
#include "desk/apart_row.h"
#include "store/contact.h"
#include <stdlib.h>
#include <string.h>

#define ADA "{\"name\":\"Ada Marsh\",\"phone\":\"555 0123\"}"

static void assert_body(const struct apart_row *row, const char *expected)
{
    char *body = apart_row_body(row);
    if (expected)
        assert_string_equal(body, expected);
    else
        assert_null(body);
    free(body);
}

static void a_name_is_kept_once_and_not_the_one_of_now(void **state)
{
    struct apart_row row;
    (void)state;
    apart_row_parse(ADA, &row);
    static const char *const NAMES[] = {"", "Ada Marsh", "Ida Marsh", "Ida Marsh", "A. Marsh"};
    for (size_t i = 0; i < COUNT_OF(NAMES); i++)
        apart_row_keep_name(&row, NAMES[i]);
    assert_int_equal(json_array_size(row.former), 2);
    assert_string_equal(json_string_value(json_array_get(row.former, 0)), "Ida Marsh");
    assert_string_equal(json_string_value(json_array_get(row.former, 1)), "A. Marsh");
    json_t *caller = apart_row_caller(&row, "Mira");
    assert_string_equal(json_string_value(json_object_get(caller, "name")),
                        "Ada Marsh Ida Marsh A. Marsh Mira");
    assert_string_equal(json_string_value(json_object_get(caller, "phone")), "555 0123");
    json_decref(caller);
    apart_row_clear(&row);
    /* who gave no name went by one before */
    apart_row_parse("{\"phone\":\"555 0123\"}", &row);
    apart_row_keep_name(&row, "Ada Marsh");
    assert_int_equal(json_array_size(row.former), 1);
    apart_row_clear(&row);
}

static void what_was_said_first_counts(void **state)
{
    struct apart_row row;
    (void)state;
    apart_row_parse(ADA, &row);
    apart_row_keep_sent(&row, "note", "Ada says");
    apart_row_keep_sent(&row, "note", "later");
    apart_row_keep_sent(&row, "store", "Ada's");
    apart_row_keep_change(&row, 12, "was", "Ada");
    apart_row_keep_change(&row, 12, "now", "Ida");
    apart_row_keep_change(&row, 12, "now", "Eda");
    apart_row_keep_change(&row, 13, "was", "Ida");
    assert_body(&row,
                "{\"name\":\"Ada Marsh\",\"phone\":\"555 0123\",\"past\":{\"sent\":{\"note\":"
                "\"Ada says\",\"store\":\"Ada's\"},\"changes\":{\"12\":{\"was\":\"Ada\",\"now\":"
                "\"Ida\"},\"13\":{\"was\":\"Ida\"}}}}");
    const json_t *change = apart_row_change(&row, 12);
    assert_string_equal(json_string_value(json_object_get(change, "now")), "Ida");
    assert_null(apart_row_change(&row, 14));
    apart_row_clear(&row);
    assert_body(&row, NULL);
}

/* Written and read back it is the same; of what is nothing, nothing. */
static void a_row_is_read_as_it_was_written(void **state)
{
    static const char *const BODIES[] = {ADA, "{\"said\":{\"note\":\"x\"}}",
                                         "{\"formerly\":[\"Ida\"]}",
                                         "{\"name\":\"A\",\"said\":{\"note\":\"x\"},\"past\":{"
                                         "\"sent\":{\"note\":\"y\"}},\"formerly\":["
                                         "\"B\"]}"};
    struct apart_row row;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(BODIES); i++) {
        apart_row_parse(BODIES[i], &row);
        assert_int_equal(row.who != NULL, strstr(BODIES[i], "\"name\"") != NULL);
        assert_body(&row, BODIES[i]);
        apart_row_clear(&row);
    }
    static const char *const NOTHING[] = {NULL, "{}", "{broken"};
    for (size_t i = 0; i < COUNT_OF(NOTHING); i++) {
        apart_row_parse(NOTHING[i], &row);
        assert_body(&row, NULL);
        apart_row_clear(&row);
    }
}

static void assert_key(const char *keys, const char *mark, const char *key, bool there)
{
    char line[96];
    snprintf(line, sizeof line, "\n%s%s\n", mark, key);
    if ((strstr(keys, line) != NULL) != there)
        fail_msg("'%s' in %s", line, keys);
}

/* Own names bare, former ones and what texts say each with its mark. */
static void it_is_found_by_all_that_is_kept(void **state)
{
    struct apart_row row;
    (void)state;
    apart_row_parse(
        "{\"name\":\"Ada Marsh\",\"phone\":\"555 0123\",\"said\":{\"note\":\"Ada Marsh rang, "
        "write to kit.quill@mill.example\"},\"past\":{\"sent\":{\"note\":\"or 555 0177\"}},"
        "\"formerly\":[\"Ida Moor\"]}",
        &row);
    char *keys = apart_row_keys(&row, "");
    assert_key(keys, "", "ada marsh", true);
    assert_key(keys, "", "ida moor", false);
    assert_key(keys, CONTACT_WAS, "ida moor", true);
    assert_key(keys, CONTACT_WAS, "ada marsh", false);
    assert_key(keys, CONTACT_SAID, "kit.quill@mill.example", true);
    assert_key(keys, CONTACT_SAID, " quill", true);
    assert_key(keys, CONTACT_SAID, " mill", true);
    assert_key(keys, CONTACT_SAID, " kit", false); /* too short to look for */
    free(keys);
    apart_row_clear(&row);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_name_is_kept_once_and_not_the_one_of_now),
        cmocka_unit_test(what_was_said_first_counts),
        cmocka_unit_test(a_row_is_read_as_it_was_written),
        cmocka_unit_test(it_is_found_by_all_that_is_kept),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
