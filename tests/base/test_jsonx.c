#include "check.h"

#include "base/jsonx.h"
#include "base/length.h"
#include "base/text.h"
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static json_t *parse(const char *text)
{
    json_t *root = NULL;
    struct error err = {0};
    if (jsonx_parse(text, strlen(text), &root, &err))
        fail_msg("%s: %s", text, err.text);
    return root;
}

static void takes_json(void **state)
{
    (void)state;
    static const char *const good[] = {
        "{}",
        "[]",
        "null",
        " \t\r\n7 ",
        "\"\"",
        "\"\\u00e9\\ud83c\\udf5e\\\\\\\"\"",
        "{\"a\":[1,-0.5e-3,true,false,null]}",
        "[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]",
        "{\"[[[[[[[[[[[[[[[[[[[[\":\"]}{NaN\\\"]\"}",
        "[1e5,1E+2]",
    };
    for (size_t i = 0; i < COUNT_OF(good); i++)
        json_decref(parse(good[i]));
}

/* Cases after RFC 8259 (T. Bray, 2017) and RFC 7493 (T. Bray, 2015). */
static void refuses_the_rest(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        long line, column; /* 0: any */
        const char *reason;
    } bad[] = {
        {"", 0, 0, "not JSON"},
        {"{", 0, 0, "not JSON"},
        {"{\"a\":1,\"\\u0061\":2}", 1, 0, "duplicate"},
        {"[\"\\uDEAD\"]", 1, 0, "not JSON"},
        {"[\"\\uD83C\"]", 1, 0, "not JSON"},
        {"[\"\\u0000\"]", 1, 0, "not JSON"},
        {"[1] [2]", 1, 0, "not JSON"},
        {"[1,]", 1, 0, "not JSON"},
        {"[01]", 1, 0, "not JSON"},
        {"[+1]", 1, 0, "not JSON"},
        {"[.5]", 1, 0, "not JSON"},
        {"[1.]", 1, 0, "not JSON"},
        {"[0x1]", 1, 0, "not JSON"},
        {"['a']", 1, 0, ""},
        {"[\"a\tb\"]", 1, 0, "not JSON"},
        {"/* c */ 1", 1, 0, ""},
        {"[1e999]", 1, 0, "not JSON"},
        {"[99999999999999999999]", 1, 0, "not JSON"},
        {"{\n \"a\": NaN}", 2, 7, "'NaN' is not a JSON value"},
        {"[-Infinity]", 1, 3, "'Infinity' is not a JSON value"},
        {"[nan]", 1, 2, "'nan' is not a JSON value"},
        {"[True]", 1, 2, "'True' is not a JSON value"},
        {"{\"\u00e9\": inf}", 1, 7, "'inf' is not a JSON value"},
        {"[\"\xff\"]", 1, 3, "is not UTF-8"},
        {"\n[\"\xc0\xaf\"]", 2, 3, "is not UTF-8"},
        {"\xEF\xBB\xBF[]", 1, 1, "byte order mark"},
        {"[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]", 1, 17, "nested more than 16"},
        {"{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":[[[[[[[[[", 1, 49, "nested"},
        {"\"a", 0, 0, "not JSON"},
        {"\"a\\", 0, 0, "not JSON"},
        {"]", 1, 0, "not JSON"},
    };
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        json_t *root = NULL;
        struct error err = {0};
        assert_int_equal(jsonx_parse(bad[i].text, strlen(bad[i].text), &root, &err), ERROR_INVALID);
        assert_null(root);
        if (!strstr(err.text, bad[i].reason))
            fail_msg("%s: %s", bad[i].text, err.text);
        if (bad[i].line)
            assert_int_equal(err.line, bad[i].line);
        if (bad[i].column)
            assert_int_equal(err.column, bad[i].column);
    }
    json_t *root = NULL;
    assert_int_equal(jsonx_parse("[1]\0", 4, &root, NULL), ERROR_INVALID);
    assert_int_equal(jsonx_parse("[\"a\0\"]", 6, &root, NULL), ERROR_INVALID);
}

static void size_is_bounded(void **state)
{
    (void)state;
    json_t *root = NULL;
    struct error err = {0};
    char *text = xmalloc(JSONX_BYTES + 1);
    memset(text, ' ', JSONX_BYTES + 1);
    text[0] = '1';
    assert_int_equal(jsonx_parse(text, JSONX_BYTES, &root, &err), 0);
    json_decref(root);
    assert_int_equal(jsonx_parse(text, JSONX_BYTES + 1, &root, &err), ERROR_TOO_LARGE);
    /* the deepest text the size allows is refused by the count, not by the stack */
    memset(text, '[', JSONX_BYTES);
    assert_int_equal(jsonx_parse(text, JSONX_BYTES, &root, NULL), ERROR_INVALID);
    free(text);
}

static void write_file(char *path, const char *text, size_t length)
{
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, text, length), length);
    close(fd);
}

static void files(void **state)
{
    (void)state;
    char path[] = "/tmp/oddloaf-jsonx-XXXXXX";
    json_t *root = NULL;
    struct error err = {0};
    write_file(path, "{\"a\":\n 1,\n \"b\": }", 17);
    assert_int_equal(jsonx_load(path, &root, &err), ERROR_INVALID);
    assert_string_equal(err.source, path);
    assert_int_equal(err.line, 3);
    unlink(path);

    error_clear(&err);
    assert_int_equal(jsonx_load(path, &root, &err), ERROR_NOT_FOUND);
    error_clear(&err);
    assert_int_equal(jsonx_load("/", &root, &err), ERROR_IO);

    char big[] = "/tmp/oddloaf-jsonx-XXXXXX";
    size_t length = (size_t)JSONX_BYTES * 2; /* files may be larger than requests */
    char *text = xmalloc(length);
    memset(text, ' ', length);
    text[0] = '[';
    text[1] = '7';
    text[2] = ']';
    write_file(big, text, length);
    assert_int_equal(jsonx_load(big, &root, NULL), 0);
    assert_int_equal(json_integer_value(json_array_get(root, 0)), 7);
    json_decref(root);
    assert_int_equal(truncate(big, (16 << 20) + 1), 0);
    assert_int_equal(jsonx_load(big, &root, NULL), ERROR_TOO_LARGE);
    unlink(big);
    free(text);
}

static const char document[] = "{\n"
                               "  \"name\": \"rye \u00e9\", \"n\": [10, {\"x\": true}, []],\n"
                               "  \"a/b\": 1, \"m~n\": 2, \"~1\": 3, \"\": 4,\n"
                               "  \"\\u00e9\\ud83c\\udf5e\\n\": {\"k\": null},\n"
                               "  \"e\": {}\n"
                               "}\n";

/* Escapes after RFC 6901 (P. Bryan, K. Zyp, M. Nottingham, 2013), sections 4 and 5. */
static void places(void **state)
{
    (void)state;
    static const struct {
        const char *pointer;
        long line, column;
    } cases[] = {
        {"", 1, 1},
        {"/name", 2, 11},
        {"/n", 2, 25},
        {"/n/0", 2, 26},
        {"/n/1", 2, 30},
        {"/n/1/x", 2, 36},
        {"/n/2", 2, 43},
        {"/a~1b", 3, 10},
        {"/m~0n", 3, 20},
        {"/~01", 3, 29},
        {"/", 3, 36},
        {"/\u00e9\U0001f35e\n", 4, 27},
        {"/\u00e9\U0001f35e\n/k", 4, 33},
        {"/e", 5, 8},
        /* missing: the innermost value that is there */
        {"/nothing", 1, 1},
        {"/nothing/below", 1, 1},
        {"/n/3", 2, 25},
        {"/n/01", 2, 25},
        {"/n/-", 2, 25},
        {"/n/1/y", 2, 30},
        {"/name/x", 2, 11},
        {"/e/x", 5, 8},
        {"/n/2/0", 2, 43},
        {"no slash", 1, 1},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        long line = 0;
        long column = 0;
        assert_true(jsonx_locate(document, strlen(document), cases[i].pointer, &line, &column));
        if (line != cases[i].line || column != cases[i].column)
            fail_msg("%s: %ld:%ld", cases[i].pointer, line, column);
    }
}

/* At each end of what takes one byte more, and in either case of its digits. */
static void places_of_escaped_names(void **state)
{
    static const char *const NAMES[][2] = {{"\\u0001", "\x01"},
                                           {"\\u007f", "\x7F"},
                                           {"\\u0080", "\xC2\x80"},
                                           {"\\u07ff", "\u07FF"},
                                           {"\\u0800", "\u0800"},
                                           {"\\u4e2d", "\u4E2D"},
                                           {"\\uABCD", "\uABCD"},
                                           {"\\uabcd", "\uABCD"},
                                           {"\\uffff", "\uFFFF"},
                                           {"\\uD800\\uDC00", "\U00010000"},
                                           {"\\uDBFF\\uDFFF", "\U0010FFFF"},
                                           {"\\uD83C\\uDF5E", "\U0001F35E"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(NAMES); i++) {
        char text[64], pointer[16];
        long line = 0, column = 0;
        int end = snprintf(text, sizeof text, "{\"a\":1,\"%s\":", NAMES[i][0]);
        snprintf(text + end, sizeof text - (size_t)end, "2}");
        snprintf(pointer, sizeof pointer, "/%s", NAMES[i][1]);
        assert_true(jsonx_locate(text, strlen(text), pointer, &line, &column));
        if (line != 1 || column != end + 1)
            fail_msg("%s: %ld:%ld", NAMES[i][0], line, column);
    }
}

static void places_in_broken_text(void **state)
{
    (void)state;
    static const char *const broken[] = {
        "",      "   ",         "{\"a\" 1}",       "{\"a\":",
        "{a:1}", "{\"b\":[1,2", "{\"\\ud800\":1}", "{\"\\u12\":1}",
        "{\"\\", "{\"b\":\"",   "{\"b\":\"\\",     "{\"b\":1 \"a\":2}",
        "{,}",   "[",           "{\"b\":[}",       "{\"a\\q:[1]}",
    };
    for (size_t i = 0; i < COUNT_OF(broken); i++) {
        long line = 0;
        long column = 0;
        char *exact = xmalloc(strlen(broken[i])); /* so that a sanitizer sees a read beyond */
        memcpy(exact, broken[i], strlen(broken[i]));
        bool found = jsonx_locate(exact, strlen(broken[i]), "/a/0", &line, &column);
        free(exact);
        if (found)
            fail_msg("%s", broken[i]);
    }
}

static void typed_members(void **state)
{
    (void)state;
    json_t *o = parse("{\"s\":\"x\",\"i\":5,\"t\":true,\"z\":null}");
    const char *s = "default";
    bool flag = true;
    struct error err = {0};
    assert_int_equal(jsonx_string(o, "none", &s, &err), 0);
    assert_int_equal(jsonx_string(o, "z", &s, &err), 0);
    assert_string_equal(s, "default");
    assert_int_equal(jsonx_bool(o, "z", &flag, &err), 0);
    assert_true(flag);

    assert_int_equal(jsonx_string(o, "s", &s, &err), 0);
    assert_string_equal(s, "x");
    assert_int_equal(jsonx_bool(o, "t", &flag, &err), 0);

    assert_int_equal(jsonx_bool(o, "i", &flag, NULL), ERROR_INVALID);
    assert_int_equal(jsonx_string(o, "i", &s, &err), ERROR_INVALID);
    assert_string_equal(err.field, "i");
    assert_string_equal(err.text, "must be a string, is a number");
    json_decref(o);
}

static void dumping(void **state)
{
    (void)state;
    static const char text[] = "{\"b\":1,\"a\":[0.1,1.5,true,null,\"\u00e9\\n\"],\"c\":{}}";
    json_t *root = parse(text);
    char *out = jsonx_dump(root);
    assert_string_equal(out, text);
    free(out);
    json_decref(root);
    json_t *third = json_real(1.0 / 3.0);
    out = jsonx_dump(third);
    assert_string_equal(out, "0.333333333333333");
    free(out);
    json_decref(third);
    assert_null(jsonx_dump(NULL));
}

/* One that nobody writes to would be waited for without end. */
static void a_pipe_is_no_file(void **state)
{
    char folder[] = "/tmp/oddloaf-jsonx-XXXXXX", path[64];
    struct text_buffer text = {0};
    struct error err = {0};
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/pipe.json", folder);
    assert_int_equal(mkfifo(path, 0600), 0);
    alarm(20);
    assert_int_equal(jsonx_read(path, 1000, &text, &err), ERROR_INVALID);
    alarm(0);
    assert_string_equal(err.text, "is no file");
    assert_string_equal(err.source, path);
    unlink(path);
    rmdir(folder);
    text_buffer_free(&text);
}

static void who_signs_is_one_line(void **state)
{
    struct error err = {0};
    const char *by = NULL;
    json_t *body = json_pack("{s:s, s:s}", "by", "'\n touch x\n'", "is", "Ada Marsh");
    (void)state;
    assert_int_equal(jsonx_needed(body, "by", LENGTH_PERSON, &by, &err), ERROR_INVALID);
    assert_int_equal(jsonx_needed(body, "is", LENGTH_PERSON, &by, &err), 0);
    assert_int_equal(jsonx_needed(body, "by", LENGTH_NOTE, &by, &err), 0);
    assert_string_equal(by, "'  touch x '"); /* a note is made one line */
    assert_string_equal(json_string_value(json_object_get(body, "by")), by);
    json_decref(body);
}

/* A file's name is bytes; an answer that tells it is text, and is there. */
static void test_text_from_outside_is_always_text(void **state)
{
    static const char *const ROWS[][2] = {{"caf\xC3\xA9.csv", "caf\xC3\xA9.csv"},
                                          {"caf\xE9.csv", "caf?.csv"},
                                          {"\xFF\xFE", "??"},
                                          {"cut \xE2\x82", "cut ??"},
                                          {"", ""}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        json_t *said = json_pack("{s:o}", "file", jsonx_outside(ROWS[i][0]));
        assert_non_null(said);
        assert_string_equal(json_string_value(json_object_get(said, "file")), ROWS[i][1]);
        json_decref(said);
    }
    assert_true(json_is_null(jsonx_outside(NULL)));
}

/* A note of nothing but line feeds is as long as others: its end is not looked for at each. */
static void a_text_of_escapes_is_read_in_time_of_its_length(void **state)
{
    struct text_buffer text = {0};
    json_t *json = NULL;
    (void)state;
    text_append(&text, "[\"");
    while (text.length + 4 < JSONX_BYTES)
        text_append(&text, "\\n");
    text_append(&text, "\"]");
    clock_t from = clock();
    assert_int_equal(jsonx_parse(text.data, text.length, &json, NULL), 0);
    assert_true((double)(clock() - from) / CLOCKS_PER_SEC < 2); /* some milliseconds; 8 s else */
    json_decref(json);
    text_buffer_free(&text);
}

static void are_words(const char *bytes, size_t length, const char *expected)
{
    char *words = jsonx_words(bytes, length);
    assert_string_equal(words, expected);
    free(words);
}
#define WORDS(bytes, expected) are_words(bytes, sizeof bytes - 1, expected)

static void what_is_no_json_has_words(void **state)
{
    (void)state;
    WORDS("{\"note\":\"vomit\\u00f3 y \\u5403 \\\"s\\u00ed\\\"\\n\\tno",
          "{\"note\":\"vomit\xC3\xB3 y \xE5\x90\x83 \"s\xC3\xAD\"  no");
    WORDS("\\u00F3 \\u0000 \\ud83d \\u12", "\xC3\xB3  0000  d83d  12");
    WORDS("vomit\xF3 \x93"
          "child\x92s\x94 \x97 \xC3\xB3",
          "vomit\xC3\xB3 \"child's\" - \xC3\xB3");
    WORDS("a\0"
          "b\\",
          "a b ");
    WORDS("", "");
}

static void rounded(void **state)
{
    static const struct {
        double value;
        int decimals;
        const char *text;
    } CASES[] = {{0.126, 2, "0.13"},   {-0.126, 2, "-0.13"}, {0.124, 2, "0.12"},
                 {1250, -2, "1300.0"}, {12.6, 0, "13.0"},    {-0.004, 2, "0.0"},
                 {0, 3, "0.0"},        {NAN, 2, "null"},     {INFINITY, 2, "null"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *value = jsonx_rounded(CASES[i].value, CASES[i].decimals);
        char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_REAL_PRECISION(9));
        assert_string_equal(text, CASES[i].text);
        free(text);
        json_decref(value);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_text_from_outside_is_always_text),
        cmocka_unit_test(who_signs_is_one_line),
        cmocka_unit_test(takes_json),
        cmocka_unit_test(refuses_the_rest),
        cmocka_unit_test(size_is_bounded),
        cmocka_unit_test(files),
        cmocka_unit_test(places),
        cmocka_unit_test(places_of_escaped_names),
        cmocka_unit_test(places_in_broken_text),
        cmocka_unit_test(typed_members),
        cmocka_unit_test(dumping),
        cmocka_unit_test(rounded),
        cmocka_unit_test(what_is_no_json_has_words),
        cmocka_unit_test(a_pipe_is_no_file),
        cmocka_unit_test(a_text_of_escapes_is_read_in_time_of_its_length),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
