/* Forms of mail against the examples of RFC 2045 and RFC 2047 and values computed from them. */
#include "check.h"
#include "notify/mime.h"
#include <stdio.h>
#include <string.h>

static void expect_header(const char *value, const char *expected)
{
    struct text_buffer out = {0};
    assert_true(mime_header(&out, "Subject", value));
    assert_string_equal(out.data, expected);
    text_buffer_free(&out);
}

static size_t longest_line(const char *text)
{
    size_t longest = 0;
    for (; *text; text += strcspn(text, "\n") + 1) {
        size_t length = strcspn(text, "\n");
        longest = length > longest ? length : longest;
    }
    return longest;
}

static void plain_headers_stay_plain(void **state)
{
    (void)state;
    expect_header("C12 mold: Packed too hot, 81 %", "Subject: C12 mold: Packed too hot, 81 %\n");
    expect_header("[Harrow Mill Bakery] URGENT C1: harm reported, L3 6329 B0439, not on record",
                  "Subject: [Harrow Mill Bakery] URGENT C1: harm reported, L3 6329 B0439, not\n"
                  " on record\n");
}

/* RFC 2047: UTF-8 is never split (section 5, rule 3). */
static void other_scripts_become_encoded_words(void **state)
{
    (void)state;
    expect_header("Schimmel auf Brötchen",
                  "Subject: =?UTF-8?B?U2NoaW1tZWwgYXVmIEJyw7Z0Y2hlbg==?=\n");
    expect_header("カビ", "Subject: =?UTF-8?B?44Kr44OT?=\n");
    expect_header("Schimmelbefall auf Roggenmischbrot, Los L26329A – bitte prüfen",
                  "Subject: =?UTF-8?B?U2NoaW1tZWxiZWZhbGwgYXVmIFJvZ2dlbm1pc2NoYnJvdCwgTG9z?=\n"
                  " =?UTF-8?B?IEwyNjMyOUEg4oCTIGJpdHRlIHByw7xmZW4=?=\n");
}

/* RFC 2047 section 2, of lines that have an encoded word; of others we promise the same. Plain
 * words up to a line's length stay readable. */
static void no_line_is_longer_than_76(void **state)
{
    static const char *const NAMES[] = {"To", "Subject", "X-Oddloaf-A-Name-As-Long-As-Few-Are"};
    (void)state;
    for (size_t name = 0; name < COUNT_OF(NAMES); name++) {
        for (size_t length = 1; length <= 160; length++) {
            for (int kind = 0; kind < 3; kind++) { /* one word, after a short one, other letters */
                char value[400] = "";
                struct text_buffer out = {0};
                snprintf(value, sizeof value, "%s", kind == 1 ? "of " : kind == 2 ? "\u00f6" : "");
                memset(value + strlen(value), 'a', length);
                assert_true(mime_header(&out, NAMES[name], value));
                size_t longest = longest_line(out.data);
                bool plain = kind == 0   ? strlen(NAMES[name]) + 2 + length <= 76
                             : kind == 1 ? length < 76
                                         : false;
                if (longest > 76 || plain != !strstr(out.data, "=?UTF-8?B?"))
                    fail_msg("%zu of %zu: %s", longest, length, out.data);
                text_buffer_free(&out);
            }
        }
    }
}

static void a_text_that_looks_encoded_is_encoded(void **state)
{
    (void)state;
    expect_header("=?x", "Subject: =?UTF-8?B?PT94?=\n");
}

static void control_characters_never_reach_a_header(void **state)
{
    static const char *const BAD[] = {"x\r\nBcc: a@b.example", "x\nBcc: a@b.example", "x\x01y",
                                      "x\x7f", "x\ty"};
    (void)state;
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct text_buffer out = {0};
        assert_false(mime_header(&out, "Subject", BAD[i]));
        assert_null(out.data);
    }
}

static void addresses(void **state)
{
    static const char *const GOOD[] = {"qa@plant.example", "a.b+c@d.example", "oddloaf@localhost",
                                       "o'neill@mill-2.example"};
    static const char *const BAD[] = {"",
                                      "qa",
                                      "@x",
                                      "a@",
                                      "-oQ/tmp",
                                      "-x@y.example",
                                      "a@b@c",
                                      "a b@c.example",
                                      "a@b\n.c",
                                      "<a@b.example>",
                                      "a,b@c.example",
                                      "\"a\"@b.example",
                                      "a..b@c.example",
                                      ".a@b.example",
                                      "a.@b.example",
                                      "a@b.example.",
                                      "a@.b",
                                      "a@b..c",
                                      "a@-b.example",
                                      "a@b_c.example",
                                      "a@b.example;c",
                                      "b\xc3\xa4"
                                      "cker@b.example",
                                      "a1234567890123456789012345678901234567890123456789012345678"
                                      "901234567890@b.example"};
    (void)state;
    for (size_t i = 0; i < sizeof GOOD / sizeof GOOD[0]; i++)
        assert_true(mime_is_address(GOOD[i]));
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++)
        assert_false(mime_is_address(BAD[i]));
}

/* RFC 2045 section 6.7. */
static void quoted_printable(void **state)
{
    struct text_buffer out = {0};
    (void)state;
    mime_quoted_printable(&out, "Brötchen = 5 °C\nends in a blank \n.\n");
    assert_string_equal(out.data, "Br=C3=B6tchen =3D 5 =C2=B0C\nends in a blank=20\n=2E\n");
    text_buffer_free(&out);
}

static void quoted_printable_lines_are_short(void **state)
{
    struct text_buffer out = {0};
    char text[2001];
    (void)state;
    memset(text, 'a', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    memcpy(text + 70, "ööööö", 10);
    mime_quoted_printable(&out, text);
    for (const char *line = out.data; *line;) {
        size_t length = strcspn(line, "\n");
        assert_true(length <= 76);
        line += length + 1;
    }
    text_buffer_free(&out);
}

/* 76 characters a line, the mark of one that goes on included; a dot alone is none of a line. */
static void quoted_printable_lines_end_where_they_must(void **state)
{
#define A_70 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
    static const char *const ROWS[][2] = {
        {"", ""},
        {"a", "a\n"},
        {".a", "=2Ea\n"},
        {"a.", "a.\n"},
        {"a\n.", "a\n=2E\n"},
        {A_70 "12345", A_70 "12345\n"},
        {A_70 "123456", A_70 "12345=\n6\n"},
        {A_70 "12=", A_70 "12=3D\n"},
        {A_70 "123=", A_70 "123=\n=3D\n"},
        {A_70 "12345.", A_70 "12345=\n.\n"},
        {"a\n" A_70 "123456", "a\n" A_70 "12345=\n6\n"},
        {"a\tb \t\n \n", "a\tb =09\n=20\n"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct text_buffer out = {0};
        mime_quoted_printable(&out, ROWS[i][0]);
        assert_string_equal(out.data ? out.data : "", ROWS[i][1]);
        text_buffer_free(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_headers_stay_plain),
        cmocka_unit_test(other_scripts_become_encoded_words),
        cmocka_unit_test(no_line_is_longer_than_76),
        cmocka_unit_test(a_text_that_looks_encoded_is_encoded),
        cmocka_unit_test(control_characters_never_reach_a_header),
        cmocka_unit_test(addresses),
        cmocka_unit_test(quoted_printable),
        cmocka_unit_test(quoted_printable_lines_are_short),
        cmocka_unit_test(quoted_printable_lines_end_where_they_must),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
