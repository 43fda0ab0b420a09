/* Sources: GS1 General Specifications (check digits, element strings, dates), GS1 Barcode Syntax
 * Dictionary and its linters (GS1 AISBL, 2025: yymmd0 century rule, csum), GS1 Digital Link URI
 * syntax (GS1). Sums of check digits: GS1's check digit page (629104150021: 57), the others worked
 * by hand. */
#include "check.h"

#include "base/when.h"
#include "lots/gs1.h"
#include <string.h>

#define GS "\x1d"

static void check_digits(void **state)
{
    (void)state;
    static const char *const PAYLOADS[][2] = {{"629104150021", "3"}, {"730001100001", "7"},
                                              {"03600029145", "2"},  {"400638133393", "1"},
                                              {"9638507", "4"},      {"7351353", "7"},
                                              {"978030640615", "7"}, {"37610425002123456", "9"},
                                              {"0000000", "0"},      {"1061414112345", "9"}};
    for (size_t i = 0; i < COUNT_OF(PAYLOADS); i++)
        assert_int_equal(gs1_check_digit(PAYLOADS[i][0], strlen(PAYLOADS[i][0])),
                         PAYLOADS[i][1][0]);
    assert_int_equal(gs1_check_digit("12x", 3), 0);
    assert_int_equal(gs1_check_digit("", 0), 0);
    /* its blind spot: neighbours that differ by five, exchanged */
    assert_int_equal(gs1_check_digit("123456789016", 12), gs1_check_digit("123456789061", 12));
}

static void valid_numbers(void **state)
{
    (void)state;
    static const char *const VALID[] = {"96385074",       "40063812",       "12345670",
                                        "036000291452",   "123456789012",   "4006381333931",
                                        "9501101530003",  "1234567890128",  "10614141123459",
                                        "09501101530003", "09521234543213", "12345678901231"};
    char gtin[GS1_GTIN];
    for (size_t i = 0; i < COUNT_OF(VALID); i++) {
        assert_true(gs1_gtin_is_valid(VALID[i]));
        assert_true(gs1_gtin14(VALID[i], gtin));
        assert_true(gs1_gtin_is_valid(gtin)); /* zeros in front keep the check digit */
        assert_string_equal(gtin + 14 - strlen(VALID[i]), VALID[i]);
    }
    assert_false(gs1_gtin_is_valid("00000000000000")); /* its sum is right */
    assert_false(gs1_gtin_is_valid("9501101530004"));
    assert_false(gs1_gtin_is_valid("950110153000"));
    assert_false(gs1_gtin_is_valid(""));
}

struct expected {
    const char *input;
    const char *data[9]; /* identifier, data, … NULL */
};

static void expect(const struct gs1 *gs1, const char *const *data)
{
    size_t count = 0;
    for (; data[2 * count]; count++) {
        const char *got = gs1_get(gs1, data[2 * count]);
        assert_non_null(got);
        assert_string_equal(got, data[2 * count + 1]);
    }
    assert_int_equal(gs1->count, count);
}

static void element_strings(void **state)
{
    (void)state;
    static const struct expected CASES[] = {
        {"]d201095212345432131726120010L26329A",
         {"01", "09521234543213", "17", "261200", "10", "L26329A"}},
        {"]C10109501101530003112611241726120110L26329A" GS "21S0042",
         {"01", "09501101530003", "11", "261124", "17", "261201", "10", "L26329A"}},
        {"010950110153000310L26329A" GS "17261201" GS "3103000750",
         {"01", "09501101530003", "10", "L26329A", "17", "261201", "3103", "000750"}},
        {"0109501101530003310300075010L26329A",
         {"01", "09501101530003", "3103", "000750", "10", "L26329A"}},
        {"02006141411234523724" GS "10ABC", {"02", "00614141123452", "37", "24", "10", "ABC"}},
        {GS "0109501101530003" GS, {"01", "09501101530003"}},
        {"00106141411234567897", {"00", "106141411234567897"}},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct gs1 gs1;
        struct error err = {0};
        assert_int_equal(gs1_parse(CASES[i].input, strlen(CASES[i].input), &gs1, &err), 0);
        if (gs1.count <= 4)
            expect(&gs1, CASES[i].data);
        assert_false(gs1.separator_missing);
    }
    struct gs1 gs1;
    const char *serial = CASES[1].input;
    assert_int_equal(gs1_parse(serial, strlen(serial), &gs1, NULL), 0);
    assert_int_equal(gs1.count, 5);
    assert_string_equal(gs1_get(&gs1, "21"), "S0042");
}

static void lost_separator_is_noted_not_guessed(void **state)
{
    (void)state;
    struct gs1 gs1;
    const char *text = "010950110153000310L26329A17261201";
    assert_int_equal(gs1_parse(text, strlen(text), &gs1, NULL), 0);
    assert_string_equal(gs1_get(&gs1, "10"), "L26329A17261201");
    assert_true(gs1.separator_missing);
    text = "010950110153000310L26329A12345678"; /* ends in digits that are no date */
    assert_int_equal(gs1_parse(text, strlen(text), &gs1, NULL), 0);
    assert_false(gs1.separator_missing);
}

static void refused(void **state)
{
    (void)state;
    static const struct {
        const char *input, *field, *text;
    } CASES[] = {
        {"0109501101530004", "01", "check digit"},
        {"]C10109521234543213172611", "17", "too short"},
        {"010950110153000317261301", "17", "no month 13"},
        {"010950110153000317260230", "17", "no day 30"},
        {"010950110153000317260001", "17", "no month 00"},
        {"0109501101530003" GS "10", "10", "too short"},
        {"010950110153000310ABC DEF", "10", "may not hold"},
        {"010950110153000310123456789012345678901", "10", "too long"},
        {"010950110153000310A" GS "10B", "10", "twice"},
        {"0195O1101530003", "01", ""},
        {"5512", "", "no application identifier"},
        {"0100000000000000", "01", "zeros"},
        {"", "", "without elements"},
        {"]C1", "", "without elements"},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct gs1 gs1;
        struct error err = {0};
        assert_int_equal(gs1_parse(CASES[i].input, strlen(CASES[i].input), &gs1, &err),
                         ERROR_INVALID);
        assert_non_null(strstr(err.text, CASES[i].text));
        if (*CASES[i].field)
            assert_string_equal(err.field, CASES[i].field);
    }
    struct error err = {0};
    struct gs1 gs1;
    assert_int_equal(gs1_parse("0109501101530004", 16, &gs1, &err), ERROR_INVALID);
    assert_non_null(strstr(err.hint, "end in 3"));
    assert_int_equal(err.column, 3);
}

static void bracketed_text(void **state)
{
    (void)state;
    struct gs1 gs1;
    struct error err = {0};
    assert_int_equal(gs1_parse_bracketed("(01)09501101530003(10)L26329A(17)261201", &gs1, &err), 0);
    expect(&gs1,
           (const char *const[]){"01", "09501101530003", "10", "L26329A", "17", "261201", NULL});
    /* a bracket is legal in a lot; with blanks as people type them */
    assert_int_equal(gs1_parse_bracketed(" (10)A(B)C (17)261201", &gs1, &err), 0);
    assert_string_equal(gs1_get(&gs1, "10"), "A(B)C");
    assert_int_equal(gs1_parse_bracketed("(10)", &gs1, &err), ERROR_INVALID);
    error_clear(&err);
    assert_int_equal(gs1_parse_bracketed("10 L26", &gs1, &err), ERROR_INVALID);
    assert_int_equal(gs1_parse_bracketed("", &gs1, &err), ERROR_INVALID);
    assert_int_equal(gs1_parse_bracketed("  ", &gs1, &err), ERROR_INVALID);
    assert_int_equal(err.column, 1);
}

static void digital_links(void **state)
{
    (void)state;
    struct gs1 gs1;
    struct error err = {0};
    assert_int_equal(
        gs1_parse_link("https://example.com/p/01/09501101530003/10/L%2F26?17=261201", &gs1, &err),
        0);
    expect(&gs1, (const char *const[]){"01", "09501101530003", "10", "L/26", "17", "261201", NULL});
    assert_int_equal(gs1_parse_link("HTTPS://x.example/01/09501101530003/22/2A/10/B1/21/S?lang=en"
                                    "&3103=000750#top",
                                    &gs1, &err),
                     0);
    assert_int_equal(gs1.count, 5);
    assert_string_equal(gs1_get(&gs1, "21"), "S");
    assert_int_equal(gs1_parse_link("https://x.example/01/9501101530003", &gs1, &err), 0);
    assert_string_equal(gs1_get(&gs1, "01"), "09501101530003");
    static const struct {
        const char *uri;
        int code;
    } WRONG[] = {
        {"https://x.example/01/09501101530003/21/S1/10/L1", ERROR_INVALID}, /* order */
        {"https://x.example/01/09501101530003/22/A/235/B", ERROR_INVALID},  /* two branches */
        {"https://x.example/01/09501101530003/10", ERROR_INVALID},
        {"https://x.example/01/09501101530004", ERROR_INVALID}, /* check digit */
        {"https://x.example/01/09501101530003?17=261301", ERROR_INVALID},
        {"https://x.example/01/09501101530003/10/L%2", ERROR_INVALID},
        {"https://x.example/bread/white", ERROR_NOT_FOUND},
        {"https://x.example", ERROR_NOT_FOUND},
        {"01/09501101530003", ERROR_INVALID},
    };
    for (size_t i = 0; i < COUNT_OF(WRONG); i++) {
        error_clear(&err);
        assert_int_equal(gs1_parse_link(WRONG[i].uri, &gs1, &err), WRONG[i].code);
    }
    /* which of them it is, to its fourth letter, and how much there may be */
    static const char *const OUT_OF_ORDER[][2] = {
        {"https://x.example/01/09501101530003/10/L1/22/A", "22"},
        {"https://x.example/01/09501101530003/10/L1/whatever/A", "what"},
        {"https://x.example/8006/095011015300030101/21/S/10/L", "10"}};
    for (size_t i = 0; i < COUNT_OF(OUT_OF_ORDER); i++) {
        error_clear(&err);
        assert_int_equal(gs1_parse_link(OUT_OF_ORDER[i][0], &gs1, &err), ERROR_INVALID);
        assert_string_equal(err.field, OUT_OF_ORDER[i][1]);
    }
    assert_int_equal(gs1_parse_link("https://x.example/01/09501101530003/10/%6c%4C/", &gs1, &err),
                     0);
    assert_string_equal(gs1_get(&gs1, "10"), "lL");
    assert_int_equal(
        gs1_parse_link("https://x.example/01/09501101530003?=1&99999=1&17=&10=L;21=S", &gs1, &err),
        ERROR_INVALID); /* 17 without a date */
    assert_int_equal(
        gs1_parse_link("https://x.example/01/09501101530003?=1&99999=1&10=L;21=S", &gs1, &err), 0);
    assert_string_equal(gs1_get(&gs1, "10"), "L");
    assert_string_equal(gs1_get(&gs1, "21"), "S");
    assert_int_equal(gs1_parse_link("https://x.example/bread/01/09501101530003", &gs1, &err), 0);
    assert_int_equal(gs1_parse_link("https://x.example?01/09501101530003", &gs1, &err),
                     ERROR_NOT_FOUND);
}

static void told_apart_from_plain_codes(void **state)
{
    (void)state;
    struct gs1 gs1;
    static const char *const PLAIN[] = {"L2 6321 B0412", "26329A", "010203", "(smudged) 26",
                                        "0109501101530004"};
    for (size_t i = 0; i < COUNT_OF(PLAIN); i++)
        assert_int_equal(gs1_parse_any(PLAIN[i], &gs1, NULL), ERROR_NOT_FOUND);
    assert_int_equal(gs1_parse_any("010950110153000310L26", &gs1, NULL), 0);
    assert_int_equal(gs1_parse_any("(10)L26", &gs1, NULL), 0);
    assert_int_equal(gs1_parse_any("]C110L26", &gs1, NULL), 0);
    assert_int_equal(gs1_parse_any("https://x.example/01/09501101530003", &gs1, NULL), 0);
}

static void dates_and_centuries(void **state)
{
    (void)state;
    static const struct {
        const char *yymmdd;
        int receipt_year;
        bool end;
        int year, month, day;
    } CASES[] = {
        {"261200", 2026, true, 2026, 12, 31}, {"261200", 2026, false, 2026, 12, 1},
        {"280200", 2026, true, 2028, 2, 29},  {"270200", 2026, true, 2027, 2, 28},
        {"760101", 2026, true, 2076, 1, 1},   {"770101", 2026, true, 1977, 1, 1},
        {"000101", 2051, true, 2100, 1, 1},   {"010101", 2051, true, 2101, 1, 1},
        {"020101", 2051, true, 2002, 1, 1},   {"261124", 2026, true, 2026, 11, 24},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        int32_t day = 0;
        bool month_only = false;
        assert_int_equal(
            gs1_day(CASES[i].yymmdd, CASES[i].receipt_year, CASES[i].end, &day, &month_only, NULL),
            0);
        assert_int_equal(day, day_from_civil(CASES[i].year, CASES[i].month, CASES[i].day));
        assert_int_equal(month_only, !strcmp(CASES[i].yymmdd + 4, "00"));
    }
    static const char *const WRONG[] = {"261301", "260230", "260001", "26113", "2611x1", ""};
    int32_t day = 7;
    for (size_t i = 0; i < COUNT_OF(WRONG); i++)
        assert_int_equal(gs1_day(WRONG[i], 2026, true, &day, NULL, NULL), ERROR_INVALID);
    assert_int_equal(gs1_day("010229", 2051, true, &day, NULL, NULL), ERROR_INVALID);
    assert_int_equal(day, 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_digits),
        cmocka_unit_test(valid_numbers),
        cmocka_unit_test(element_strings),
        cmocka_unit_test(lost_separator_is_noted_not_guessed),
        cmocka_unit_test(refused),
        cmocka_unit_test(bracketed_text),
        cmocka_unit_test(digital_links),
        cmocka_unit_test(told_apart_from_plain_codes),
        cmocka_unit_test(dates_and_centuries),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
