#include "check.h"

#include "base/error.h"
#include "base/letter.h"
#include "base/text.h"
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Malformed sequences: the Unicode Standard 15.0 (2022), table 3-7, says which bytes may follow. */
static void utf8_is_checked(void **state)
{
    (void)state;
    static const char *const good[] = {
        "",
        "loaf",
        "\u00e9",
        "\u0800\uffff",
        "\U00010000\U0010ffff",
        "\xEE\x80\x80",
        "\xED\x9F\xBF",
    };
    static const char *const bad[] = {
        "\x80",             /* continuation alone */
        "a\xC3",            /* cut short */
        "\xC3(",            /* continuation missing */
        "\xC0\xAF",         /* overlong '/' */
        "\xC1\xBF",         /* overlong */
        "\xE0\x80\xAF",     /* overlong */
        "\xE0\x9F\xBF",     /* overlong */
        "\xF0\x8F\xBF\xBF", /* overlong */
        "\xED\xA0\x80",     /* high surrogate */
        "\xED\xBF\xBF",     /* low surrogate */
        "\xF4\x90\x80\x80", /* beyond U+10FFFF */
        "\xF5\x80\x80\x80", /* no such lead */
        "\xF8\x88\x80\x80\x80",
        "\xFE",
        "\xFF",
        "\xE2\x82",
        "\xF0\x9F\x8D",
    };
    for (size_t i = 0; i < COUNT_OF(good); i++)
        assert_true(text_is_utf8(good[i], strlen(good[i])));
    for (size_t i = 0; i < COUNT_OF(bad); i++)
        assert_false(text_is_utf8(bad[i], strlen(bad[i])));
    assert_false(text_is_utf8("a\0b", 3));
    assert_int_equal(text_utf8_prefix("a\0b", 3), 1);
    assert_int_equal(text_utf8_prefix("\u00e9\xC3", 3), 2);
    for (size_t at = 0; at < 19; at++) { /* eight are looked at together */
        char bytes[] = "abcdefghijklmnopqrs";
        bytes[at] = at % 2 ? '\0' : '\x80';
        assert_int_equal(text_utf8_prefix(bytes, 19), at);
    }
}

static void lengths_and_columns(void **state)
{
    (void)state;
    assert_int_equal(text_columns("Br\u00f6tchen"), 8);
    assert_int_equal(text_columns("Bro\u0308tchen"), 8);          /* accent of its own */
    assert_int_equal(text_columns("\u30ab\u30d3"), 4);            /* two wide letters */
    assert_int_equal(text_columns("\u98df\u30d1\u30f3"), 6);      /* ideograph and kana */
    assert_int_equal(text_columns("\uff76\uff8b\uff9e"), 3);      /* half width */
    assert_int_equal(text_columns("\U0001f35e"), 2);              /* a loaf */
    assert_int_equal(text_columns("a\u200bb\ufe0f"), 2);          /* zero width */
    assert_int_equal(text_columns("4 \u00b0C \u2014 \u2713"), 8); /* narrow signs */
    assert_int_equal(text_columns("\x1b[1m"), 3);
    assert_int_equal(text_columns("\xff"), 1);
}

static void capitals(void **state)
{
    static const char *const LARGE[] = {"Ab",           "\u0110\u1ed7", "\u1ec4n", "\u212bn",
                                        "\u0416\u0438", "\u0386\u03b1", "\uff31"};
    static const char *const SMALL[] = {"aB",     "\u0111", "\u1ec5", "\u00df",
                                        "\u0436", "\u03ac", "7",      ""};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(LARGE); i++)
        assert_true(text_is_capital(LARGE[i]));
    for (size_t i = 0; i < COUNT_OF(SMALL); i++)
        assert_false(text_is_capital(SMALL[i]));
}

/* What was folded once stays, whatever letter it is. */
static void what_is_folded_stays(void **state)
{
    (void)state;
    for (uint32_t c = 1; c < 0x1F000; c++) {
        char letter[LETTER_BYTES + 1], out[40], again[40];
        if (c >= 0xD800 && c < 0xE000)
            continue; /* halves of UTF-16 */
        letter[letter_utf8(c, letter)] = '\0';
        text_fold(letter, out, sizeof out);
        if (strcmp(text_fold(out, again, sizeof again), out) != 0)
            fail_msg("U+%04X: %s, then %s", (unsigned)c, out, again);
    }
}

static void folding(void **state)
{
    (void)state;
    static const struct {
        const char *in, *out;
    } cases[] = {
        {"", ""},
        {"  \t ", ""},
        {"Line 2", "line 2"},
        {"  Rye\t\r\n  Loaf \u00a0", "rye loaf"},
        {"Pan Se\u00f1orial A\u00d1EJO", "pan senorial anejo"},
        {"\u00c1\u00e1 \u00dc\u00fc \u00df \u00c6\u00d8", "aa uu ss aeo"},
        {"Cafe\u0301", "cafe"},
        {"\uff2c\uff12 \uff16\uff13\uff12\uff10 \uff22\uff10\uff14\uff11\uff19", "l2 6320 b0419"},
        {"\u0141\u00f3d\u017a \u0160\u017e \u0152", "lodz sz oe"},
        {"\u30ab\u30d3", "\u30ab\u30d3"},
        {"a\xff\xc3", "a?"
                      "?"},
        {"3\u00d74", "3\u00d74"},
        {"NGUY\u1ec4N H\u1ea0NH \u0111\u1ee9c", "nguyen hanh duc"},
        {"\u0218\u0163efan \u1e24\u0101 Gro\u1e9e", "stefan ha gross"},
        {"\u212b\u212a \u01cdj\u01c8", "ak ajlj"},
        {"\uff31\uff4c \U0001d400\U0001d41b q\u0332", "ql ab q"},
        {"\u03a2 \u03a3\u03c2 \u03aa\u0390",
         "\u03a2 \u03c3\u03c3 \u03b9\u03b9"}, /* the first is none */
        {"\u0416\u0419 \u0438\u0306", "\u0436\u0438 \u0438"},
    };
    char out[64];
    for (size_t i = 0; i < COUNT_OF(cases); i++)
        assert_string_equal(text_fold(cases[i].in, out, sizeof out), cases[i].out);
    assert_string_equal(text_fold("ab\u00df", out, 4), "ab"); /* "ss" does not fit whole */
    assert_string_equal(text_fold("a b", out, 3), "a ");
    assert_string_equal(text_fold("abc", out, 1), "");
}

static void check_tame(const char *text, const char *kept, const char *tame)
{
    char *tamed = text_tame(text, kept);
    if (tame)
        assert_string_equal(tamed, tame);
    else
        assert_null(tamed);
    free(tamed);
}

static void clipping(void **state)
{
    (void)state;
    char out[16];
    assert_string_equal(text_clip("a\tb\x7f\xc2\x85", out, sizeof out), "a?b??");
    assert_string_equal(text_clip("ab\u202e\u202ccd", out, sizeof out), "ab??cd");
    assert_string_equal(text_clip("ab\u00e9", out, 4), "ab");
    assert_string_equal(text_clip("ab\u00e9", out, 5), "ab\u00e9");
    assert_string_equal(text_clip("\xff\xfe", out, sizeof out), "??");
    assert_string_equal(text_clip("abc", out, 1), "");
    check_tame("a\tb\nc\x7f\xc2\x85\u2028\u202e\u2067d", "", "a b c     d");
    check_tame("a\tb\nc\r", "\n\t", "a\tb\nc ");
    check_tame("one line, \u00e9", "", NULL);
    check_tame("two\nlines", "\n", NULL);
    assert_true(text_equal_fold("Mold", "mOLD"));
    assert_false(text_equal_fold("Mold", "molds"));
    assert_false(text_equal_fold("", "a"));
    assert_false(text_equal_fold("\u00e9", "\u00c9"));
}

static const char *const not_numbers[] = {
    "",         " ",   "1.5abc", "0x1",   "0x1p3",  "nan", "NaN",    "inf",       "-inf",
    "infinity", " 1",  "1 ",     "1e999", "-1e999", "1e",  "1e+",    "1e5.5",     "5.",
    ".",        "-",   "+",      "--1",   "+-1",    "1,5", "1 000",  "1_0",       "1.2.3",
    "1e5 ",     "\n1", "e5",     "1\n",   "1d",     "1f",  "\u0661", "1\xc2\xa0",
};

static void check_doubles(void)
{
    static const struct {
        const char *in;
        double out;
    } cases[] = {
        {"0", 0.0},      {"-0.5", -0.5},  {"+1.5", 1.5},
        {".5", 0.5},     {"1e3", 1000.0}, {"1E-3", 0.001},
        {"1.5", 1.5},    {"007", 7.0},    {"1e308", 1e308},
        {"1e-400", 0.0}, {"-.25", -0.25}, {"96.111111111111111111111", 96.111111111111111},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        double value = -77;
        assert_int_equal(text_to_double(cases[i].in, &value), 0);
        assert_true(value == cases[i].out);
    }
    for (size_t i = 0; i < COUNT_OF(not_numbers); i++) {
        double value = -77;
        assert_int_equal(text_to_double(not_numbers[i], &value), ERROR_INVALID);
        assert_true(value == -77);
    }
    double value = -77;
    assert_int_equal(text_to_double(NULL, &value), ERROR_INVALID);
}

static void strict_doubles(void **state)
{
    (void)state;
    check_doubles();
}

static void strict_integers(void **state)
{
    (void)state;
    int64_t value = -77;
    for (size_t i = 0; i < COUNT_OF(not_numbers); i++)
        assert_int_equal(text_to_int64(not_numbers[i], &value), ERROR_INVALID);
    assert_int_equal(text_to_int64("1.0", &value), ERROR_INVALID);
    assert_int_equal(text_to_int64("9223372036854775808", &value), ERROR_INVALID);
    assert_int_equal(text_to_int64("-9223372036854775809", &value), ERROR_INVALID);
    assert_int_equal(value, -77);
    assert_int_equal(text_to_int64("9223372036854775807", &value), 0);
    assert_true(value == INT64_MAX);
    assert_int_equal(text_to_int64("-9223372036854775808", &value), 0);
    assert_true(value == INT64_MIN);
    assert_int_equal(text_to_int64("+010", &value), 0);
    assert_int_equal(value, 10);
}

/* A decimal comma must come neither in nor out. Builds such a locale where none is installed. */
static bool set_comma_locale(char *folder)
{
    static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8"};
    for (size_t i = 0; i < COUNT_OF(names); i++)
        if (setlocale(LC_ALL, names[i]))
            return true;
    char command[256];
    if (!mkdtemp(folder))
        return false;
    snprintf(command, sizeof command, "localedef -i de_DE -f UTF-8 %s/de_DE.UTF-8 >%s/log 2>&1",
             folder, folder);
    if (system(command) != 0) /* NOLINT(cert-env33-c,bugprone-command-processor): fixed text */
        return false;
    setenv("LOCPATH", folder, 1);
    return setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
}

static void same_in_every_locale(void **state)
{
    (void)state;
    char folder[] = "/tmp/oddloaf-locale-XXXXXX";
    char plain[16];
    if (!set_comma_locale(folder))
        skip();
    snprintf(plain, sizeof plain, "%.1f", 1.5);
    assert_string_equal(plain, "1,5"); /* the locale is in force */
    check_doubles();
    struct text_buffer b = {0};
    text_appendf(&b, "%.2f %g", 1234.5, 0.25);
    assert_string_equal(b.data, "1234.50 0.25");
    text_buffer_free(&b);
    snprintf(plain, sizeof plain, "%.1f", 1.5);
    assert_string_equal(plain, "1,5"); /* and was put back */
    setlocale(LC_ALL, "C");
    char command[64];
    snprintf(command, sizeof command, "rm -rf %s", folder);
    if (strcmp(folder + strlen(folder) - 6, "XXXXXX") != 0)
        assert_int_equal(system(command), 0); /* NOLINT(cert-env33-c) */
}

static void the_buffer_grows(void **state)
{
    (void)state;
    struct text_buffer b = {0};
    for (int i = 0; i < 1000; i++)
        text_appendf(&b, "%d,", i);
    assert_int_equal(b.length, 10 * 2 + 90 * 3 + 900 * 4);
    assert_int_equal(strlen(b.data), b.length);
    text_reset(&b);
    assert_string_equal(b.data, "");
    text_append_bytes(&b, "a\0b", 3);
    assert_int_equal(b.length, 3);
    assert_memory_equal(b.data, "a\0b", 4);
    text_append_bytes(&b, NULL, 0);
    text_reset(&b);
    text_appendf(&b, "%0500d", 7);
    assert_int_equal(b.length, 500);

    char *taken = text_take(&b);
    assert_int_equal(strlen(taken), 500);
    assert_null(b.data);
    free(taken);
    taken = text_take(&b);
    assert_string_equal(taken, "");
    free(taken);
    text_buffer_free(&b);
    text_buffer_free(&b);
}

static void allocation_never_fails(void **state)
{
    (void)state;
    free(xmalloc(0));
    free(xcalloc(0, 8));
    char *s = xstrndup("loaves", 4);
    assert_string_equal(s, "loav");
    s = xrealloc(s, 100);
    assert_string_equal(s, "loav");
    free(s);
    s = xstrdup("");
    assert_string_equal(s, "");
    free(s);
}

static void percentages_never_claim_certainty(void **state)
{
    static const struct {
        double share;
        const char *text;
    } ROWS[] = {{0, "0"},     {1e-9, "<1"},   {0.0099, "<1"},    {0.01, "1"}, {0.425, "42"},
                {0.99, "99"}, {0.991, ">99"}, {1 - 1e-9, ">99"}, {1, "100"},  {1.2, "100"}};
    char out[8];
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        assert_string_equal(text_percent(ROWS[i].share, out), ROWS[i].text);
    }
    /* what is believed is never certain, rounded on its way here or not */
    static const double NEAR_ONE[] = {1, 0.99996, 0.991}, NEAR_NONE[] = {0, 0.00004, 0.009};
    for (size_t i = 0; i < COUNT_OF(NEAR_ONE); i++) {
        assert_string_equal(text_chance(NEAR_ONE[i], out), ">99");
        assert_string_equal(text_chance(NEAR_NONE[i], out), "<1");
    }
    assert_string_equal(text_chance(0.42, out), "42");
}

/* A name that turns what follows says on a page what was never written. */
static void pages_are_not_turned(void **state)
{
    struct text_buffer b = {0};
    (void)state;
    text_append_html(&b, "Har\u202Ebor \u2066<x>\u2069 \u00E9 \u2014 \u00BD\u2028\xC2\x85.");
    assert_string_equal(b.data, "Har bor  &lt;x&gt;  \u00E9 \u2014 \u00BD  .");
    text_buffer_free(&b);
}

static void words_of_a_shell(void **state)
{
    static const char *const ROWS[][2] = {{"L2-6321", "L2-6321"},
                                          {"L1 6326 B1846", "'L1 6326 B1846'"},
                                          {"", "''"},
                                          {"day's", "'day'\\''s'"},
                                          {"$(x)", "'$(x)'"},
                                          {"ñ", "'ñ'"}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct text_buffer b = {0};
        text_append_word(&b, ROWS[i][0]);
        assert_string_equal(b.data, ROWS[i][1]);
        text_buffer_free(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pages_are_not_turned),
        cmocka_unit_test(words_of_a_shell),
        cmocka_unit_test(percentages_never_claim_certainty),
        cmocka_unit_test(utf8_is_checked),
        cmocka_unit_test(lengths_and_columns),
        cmocka_unit_test(folding),
        cmocka_unit_test(what_is_folded_stays),
        cmocka_unit_test(capitals),
        cmocka_unit_test(clipping),
        cmocka_unit_test(strict_doubles),
        cmocka_unit_test(strict_integers),
        cmocka_unit_test(same_in_every_locale),
        cmocka_unit_test(the_buffer_grows),
        cmocka_unit_test(allocation_never_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
