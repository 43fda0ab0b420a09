/* Ordinal dates: ISO 8601 (leap years, day 366); one-digit years resolved against the receipt. */
#include "check.h"

#include "base/when.h"
#include "lots/code_date.h"
#include <string.h>

static int32_t day(const char *text)
{
    int32_t ret = WHEN_UNKNOWN_DAY;
    assert_int_equal(day_parse(text, &ret, NULL), 0);
    return ret;
}

static void day_of_year_codes(void **state)
{
    (void)state;
    static const struct {
        const char *digits, *form, *received, *expected; /* NULL: unresolved */
        int max_age_days;
    } CASES[] = {
        {"0366", "YDDD", "2021-01-15", "2020-12-31", 0},
        {"1003", "YDDD", "2021-01-15", "2021-01-03", 0},
        {"4060", "YDDD", "2024-03-01", "2024-02-29", 0},
        {"4365", "YDDD", "2025-01-02", "2024-12-30", 0},
        {"5363", "YDDD", "2026-01-05", "2025-12-29", 0},
        {"6329", "YDDD", "2026-11-25", "2026-11-25", 0},
        {"6365", "YDDD", "2027-01-02", "2026-12-31", 0},
        {"7003", "YDDD", "2027-01-04", "2027-01-03", 0},
        {"4366", "YDDD", "2026-01-05", "2024-12-31", 0},
        {"7001", "YDDD", "2026-12-31", "2027-01-01", 0}, /* a plant a day ahead */
        {"7002", "YDDD", "2026-12-31", "2017-01-02", 0},
        {"7002", "YDDD", "2026-12-31", NULL, 400},       /* nine years on a shelf: unresolved */
        {"6366", "YDDD", "2026-12-31", "2016-12-31", 0}, /* 2026 has no day 366 */
        {"6366", "YDDD", "2026-12-31", NULL, 400},
        {"6000", "YDDD", "2026-12-31", NULL, 0},
        {"6367", "YDDD", "2026-12-31", NULL, 0},
        {"26321", "YYDDD", "2026-11-20", "2026-11-17", 0},
        {"25363", "YYDDD", "2026-01-05", "2025-12-29", 0},
        {"27001", "YYDDD", "2026-11-20", NULL, 400},
        {"2026329", "YYYYDDD", "2026-11-25", "2026-11-25", 0},
        {"2026366", "YYYYDDD", "2026-12-31", NULL, 0},
        {"2000366", "YYYYDDD", "2026-12-31", "2000-12-31", 0},
        {"321", "DDD", "2026-11-20", "2026-11-17", 0},
        {"325", "DDD", "2026-11-20", "2026-11-21", 0},
        {"326", "DDD", "2026-11-20", "2025-11-22", 0},
        {"3216", "DDDY", "2026-11-20", "2026-11-17", 0},
        {"3215", "DDDY", "2026-11-20", "2025-11-17", 0},
        {"32l6", "DDDY", "2026-11-20", NULL, 0},
        {"632", "YDDD", "2026-11-20", NULL, 0},
        {"6321", "Y-DDD", "2026-11-20", NULL, 0},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        int32_t got = WHEN_UNKNOWN_DAY;
        bool found = code_date_parse(CASES[i].digits, CASES[i].form, day(CASES[i].received),
                                     CASES[i].max_age_days, &got);
        assert_int_equal(found, CASES[i].expected != NULL);
        if (found)
            assert_int_equal(got, day(CASES[i].expected));
    }
}

static void day_366(void **state)
{
    (void)state;
    int32_t got;
    assert_false(code_date_of_year(2026, 366, &got));
    assert_true(code_date_of_year(2024, 366, &got));
    assert_true(code_date_of_year(2000, 366, &got));
    assert_false(code_date_of_year(2100, 366, &got));
    assert_false(code_date_of_year(2024, 0, &got));
    assert_true(code_date_of_year(2026, 329, &got));
    assert_int_equal(got, day("2026-11-25"));
}

static void months_and_days(void **state)
{
    (void)state;
    int32_t got;
    assert_true(code_date_calendar(6, 10, 11, 17, day("2026-11-20"), 400, &got));
    assert_int_equal(got, day("2026-11-17"));
    assert_true(code_date_calendar(0, 1, 12, 30, day("2026-01-05"), 400, &got));
    assert_int_equal(got, day("2025-12-30"));
    assert_false(code_date_calendar(6, 10, 13, 1, day("2026-11-20"), 400, &got));
    assert_false(code_date_calendar(6, 10, 2, 30, day("2026-11-20"), 400, &got));
    assert_false(code_date_calendar(10, 10, 2, 3, day("2026-11-20"), 400, &got));
}

static void printed_dates(void **state)
{
    (void)state;
    static const struct {
        const char *text, *expected, *rest;
        bool day_first;
    } CASES[] = {
        {"2026-11-27", "2026-11-27", "", false},
        {"BEST BY 11/27/26", "2026-11-27", "", false},
        {"11/12/2026", "2026-11-12", "", false},
        {"11/12/2026", "2026-12-11", "", true},
        {"27/11/26", "2026-11-27", "", false}, /* only the other way is a date */
        {"27.11.2026", "2026-11-27", "", false},
        {"27 NOV 2026", "2026-11-27", "", false},
        {"27NOV26", "2026-11-27", "", false},
        {"Nov 27, 2026", "2026-11-27", "", false},
        {"best before nov 27", "2026-11-27", "", false},
        {"27 noviembre", "2026-11-27", "", false},
        {"3 ene", "2027-01-03", "", false}, /* nearest to the receipt */
        {"11/27", "2026-11-27", "", false},
        {"L2 6321 B0412 USE BY 27 NOV", "2026-11-27", "L2 6321 B0412 ", false},
        {"L2 6321 B0412", NULL, NULL, false},
        {"6321-12", NULL, NULL, false},
        {"11/31/26", NULL, NULL, false},
        {"31 FEB", NULL, NULL, false},
        {"11/27/26 or 11/28/26", NULL, NULL, false}, /* two: not ours to choose */
        {"27 NOV 12 2026", "2026-11-27", "", false},
        {"11/27/1926", NULL, NULL, false},
        {"", NULL, NULL, false},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct code_date_printed got = {0};
        bool found = code_date_find(CASES[i].text, !CASES[i].day_first, day("2026-11-20"), &got);
        if (found != (CASES[i].expected != NULL))
            fail_msg("%s", CASES[i].text);
        if (!found)
            continue;
        char shown[16];
        assert_string_equal(day_format(got.day, shown), CASES[i].expected);
        assert_int_equal(got.from, strlen(CASES[i].rest));
        assert_int_equal(strncmp(CASES[i].text, CASES[i].rest, got.from), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(day_of_year_codes),
        cmocka_unit_test(day_366),
        cmocka_unit_test(months_and_days),
        cmocka_unit_test(printed_dates),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
