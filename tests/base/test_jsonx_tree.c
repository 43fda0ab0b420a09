/* The tree made in one pass beside that of Jansson, whose reader is the judge: of each text either
 * the same comes, or nothing. */
#include "check.h"

#include "base/jsonx.h"
#include "base/jsonx_tree.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

static json_t *by_jansson(const char *text, size_t length)
{
    return json_loadb(text, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, NULL);
}

static char *printed(const json_t *value)
{
    return json_dumps(value, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(17));
}

/* Whether the text was taken. */
static bool same_as_jansson(const char *text, size_t length)
{
    if (!text_is_utf8(text, length)) /* it is not asked of that */
        return false;
    json_t *tree = jsonx_tree(text, length), *other = tree ? by_jansson(text, length) : NULL;
    if (tree && !other)
        fail_msg("taken, and no JSON: %.*s", (int)length, text);
    char *is = tree ? printed(tree) : NULL, *should = tree ? printed(other) : NULL;
    if (tree)
        assert_string_equal(is, should);
    free(is);
    free(should);
    json_decref(tree);
    json_decref(other);
    return tree != NULL;
}

static const char *const TAKEN[] = {
    "{}",
    " [ ] ",
    "null",
    " \t\r\n7 ",
    "\"\"",
    "\"caf\xC3\xA9 \\\\ \\\" \\/ \\b\\f\\n\\r\\t\"",
    "{\"a\\n\":\"\\n\",\"\":[1,-0.5,true,false,null,{\"b\":[]}],\"a\":\"a\"}",
    "[0,-0,0.0,-0.0,0.1,0.3,123456789012345,0.00123,12345.6789,99999999999999.9,1.000000000000]",
    "[1e5,1E+2,-0.5e-3,0e0,123456789012345e22,1.23456789012345e-8,7e-22,1.1E22]",
    "[123456789012345678,-123456789012345678,0.04000000000000001,900719925474099.2]",
    "[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]",
    "{\"[[[[[[[[[[[[[[[[[[[[\":\"]}{NaN\"}",
};

static void takes_what_is_plain(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT_OF(TAKEN); i++)
        assert_true(same_as_jansson(TAKEN[i], strlen(TAKEN[i])));
}

static void leaves_the_rest(void **state)
{
    static const char *const LEFT[] = {"",
                                       "{",
                                       "[1",
                                       "[1,]",
                                       "{\"a\":1,}",
                                       "{\"a\" 1}",
                                       "{a:1}",
                                       "[1] [2]",
                                       "[01]",
                                       "[1.]",
                                       "[.5]",
                                       "[-]",
                                       "[+1]",
                                       "[1e]",
                                       "[1e+]",
                                       "[1e23]",
                                       "[1.5E-23]",
                                       "[1.e1]",
                                       "[1x]",
                                       "[truex]",
                                       "[NaN]",
                                       "\"open",
                                       "\"\\",
                                       "\"\\u0041\"",
                                       "\"\\x\"",
                                       "\"line\nfeed\"",
                                       "[1234567890123456789]",
                                       "[0.12345678901234567]",
                                       "[0.0000000000000000001]",
                                       "{\"a\":1,\"b\":2,\"a\":3}",
                                       "[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(LEFT); i++)
        if (same_as_jansson(LEFT[i], strlen(LEFT[i])))
            fail_msg("taken: %s", LEFT[i]);
}

/* Each byte of each text become another, or left out. */
static void is_never_laxer(void **state)
{
    static const char OTHERS[] = "\"\\{}[],:019.-+eEtfnu/ \n\x01";
    char text[128];
    int taken = 0;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(TAKEN); i++)
        for (size_t at = 0, length = strlen(TAKEN[i]); at < length; at++) {
            for (const char *other = OTHERS; *other; other++) {
                memcpy(text, TAKEN[i], length);
                text[at] = *other;
                taken += same_as_jansson(text, length);
            }
            memmove(text + at, TAKEN[i] + at + 1, length - at - 1);
            taken += same_as_jansson(text, length - 1);
        }
    assert_true(taken > 1000);
}

static void takes_rules(void **state)
{
    static const char *const FILES[] = {"asks", "models", "lots", "quantities", "lexicon/en"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(FILES); i++) {
        char path[512];
        struct text_buffer text = {0};
        snprintf(path, sizeof path, ODDLOAF_SOURCE_DIR "/rules/%s.json", FILES[i]);
        assert_int_equal(jsonx_read(path, 1 << 24, &text, NULL), 0);
        if (!same_as_jansson(text.data, text.length))
            fail_msg("left: %s", path);
        text_buffer_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_what_is_plain),
        cmocka_unit_test(leaves_the_rest),
        cmocka_unit_test(is_never_laxer),
        cmocka_unit_test(takes_rules),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
