/* Whatever the quick reader takes, Jansson takes as the same value. */
#include "check.h"

#include "base/jsonx.h"
#include "base/jsonx_quick.h"
#include <glob.h>
#include <stdlib.h>
#include <string.h>

static json_t *by_jansson(const char *text, size_t length)
{
    json_error_t why;
    return json_loadb(text, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &why);
}

/* json_equal() takes any two equal numbers for the same, -0.0 and 0.0 too; printed they differ. */
static bool same(const json_t *a, const json_t *b)
{
    char *left = json_dumps(a, JSON_ENCODE_ANY), *right = json_dumps(b, JSON_ENCODE_ANY);
    bool is_same = left && right && strcmp(left, right) == 0 && json_equal(a, b);
    free(left);
    free(right);
    return is_same;
}

/* True if it was taken. */
static bool taken_alike(const char *text, size_t length)
{
    json_t *quick = jsonx_quick(text, length);
    if (!quick)
        return false;
    json_t *slow = by_jansson(text, length);
    if (!slow || !same(quick, slow))
        fail_msg("%.*s", (int)length, text);
    json_decref(quick);
    json_decref(slow);
    return true;
}

static const char *const ORDINARY[] = {
    "{}",
    "[]",
    " [ ] ",
    "\"\"",
    " \t\r\n7 ",
    "0",
    "-0",
    "[-0.0, 0.0, 0.5, -12.25, 123456789012345, 1234567.1234567, 0.00000000000001]",
    "[0.1, 0.2, 0.3, 2.675, 1.005, 9.95, 70.3, 0.0049, 3.3333333]",
    "[true,false,null]",
    "{\"a\":{\"b\":[1,{\"\":2}]},\"c\":\"\"}",
    "\"a\\\\b\\\"c\\/d\\b\\f\\n\\r\\t\"",
    "\"\\n\"",
    "[\"\\u00e9\\ud83c\\udf5e\",1e5,0.5e-3,-1E+2,0.04000000000000001,[1234567890123456789]]",
    "[0.1234567890123456,12345678901234567890.5,0.00000000000000000001]",
    "\"m\u00fc\u00df \U0001F35E\"",
    "[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]",
    "{\"id\":\"01990000-0000-7000-8000-000000000001\",\"received_at\":\"2026-11-20T09:14:00-05:"
    "00\","
    "\"symptom\":\"mold\",\"packs\":2,\"observed\":{\"colour\":\"blue-green\",\"where\":null},"
    "\"measured\":{\"crumb_ph\":5.62}}",
};

static void takes_the_ordinary(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ORDINARY); i++)
        if (!taken_alike(ORDINARY[i], strlen(ORDINARY[i])))
            fail_msg("not taken: %s", ORDINARY[i]);
}

static void leaves_what_is_no_json(void **state)
{
    (void)state;
    static const char *const OTHERS[] = {
        "\"\\u00\"",
        "[\"\\uDEAD\"]",
        "1e",
        "[1e999]",
        "[99999999999999999999]",
        "[1-2]",
        "",
        "{",
        "[1,]",
        "[1 2]",
        "{\"a\" 1}",
        "{\"a\":1,}",
        "{a:1}",
        "{\"a\":1,\"a\":2}",
        "[01]",
        "[-]",
        "[1.]",
        "[.5]",
        "[+1]",
        "[tru]",
        "[nullx]",
        "[True]",
        "\"a",
        "\"a\\",
        "\"a\\x\"",
        "\"a\tb\"",
        "[1] [2]",
        "]",
        "[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]",
        "'a'",
        "/* c */ 1",
    };
    for (size_t i = 0; i < COUNT_OF(OTHERS); i++)
        assert_null(jsonx_quick(OTHERS[i], strlen(OTHERS[i])));
}

/* One or two bytes of an ordinary text are others'. */
static void of_damaged_texts_alike(void **state)
{
    (void)state;
    static const char BYTES[] = "{}[]\",:\\ 019-.eEtfn\nu/";
    unsigned seed = 1;
    size_t taken = 0;
    for (int i = 0; i < 20000; i++) {
        const char *text = ORDINARY[i % (int)COUNT_OF(ORDINARY)];
        size_t length = strlen(text);
        char *damaged = xstrndup(text, length);
        for (int k = 0; k <= i % 2; k++) {
            seed = seed * 1664525u + 1013904223u;
            damaged[(seed >> 8) % length] = BYTES[(seed >> 24) % (sizeof BYTES - 1)];
        }
        if (text_is_utf8(damaged, length))
            taken += taken_alike(damaged, length);
        free(damaged);
    }
    assert_in_range(taken, 2000, 19000);
}

static void every_rule_file(void **state)
{
    static const char *const WHERE[] = {"/rules/*.json", "/rules/*/*.json", "/rules/*/*/*.json"};
    (void)state;
    size_t count = 0;
    for (size_t w = 0; w < COUNT_OF(WHERE); w++) {
        glob_t found = {0};
        struct text_buffer pattern = {0};
        text_appendf(&pattern, "%s%s", ODDLOAF_SOURCE_DIR, WHERE[w]);
        assert_int_equal(glob(pattern.data, 0, NULL, &found), 0);
        for (size_t i = 0; i < found.gl_pathc; i++, count++) {
            struct text_buffer text = {0};
            assert_int_equal(jsonx_read(found.gl_pathv[i], JSONX_BYTES, &text, NULL), 0);
            if (!taken_alike(text.data, text.length))
                fail_msg("not taken: %s", found.gl_pathv[i]);
            text_buffer_free(&text);
        }
        globfree(&found);
        text_buffer_free(&pattern);
    }
    assert_true(count > 40);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_the_ordinary),
        cmocka_unit_test(leaves_what_is_no_json),
        cmocka_unit_test(of_damaged_texts_alike),
        cmocka_unit_test(every_rule_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
