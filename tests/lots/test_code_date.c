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
        int year, period, ordinal;
        const char *received, *expected; /* NULL: unresolved */
        int max_age_days;
    } CASES[] = {
        {0, 10, 366, "2021-01-15", "2020-12-31", 0},
        {1, 10, 3, "2021-01-15", "2021-01-03", 0},
        {4, 10, 60, "2024-03-01", "2024-02-29", 0},
        {4, 10, 365, "2025-01-02", "2024-12-30", 0},
        {5, 10, 363, "2026-01-05", "2025-12-29", 0},
        {6, 10, 329, "2026-11-25", "2026-11-25", 0},
        {6, 10, 365, "2027-01-02", "2026-12-31", 0},
        {7, 10, 3, "2027-01-04", "2027-01-03", 0},
        {4, 10, 366, "2026-01-05", "2024-12-31", 0},
        {7, 10, 1, "2026-12-31", "2027-01-01", 0}, /* a plant a day ahead */
        {7, 10, 2, "2026-12-31", "2017-01-02", 0},
        {7, 10, 2, "2026-12-31", NULL, 400},         /* nine years on a shelf: unresolved */
        {6, 10, 366, "2026-12-31", "2016-12-31", 0}, /* 2026 has no day 366 */
        {6, 10, 366, "2026-12-31", NULL, 400},
        {6, 10, 0, "2026-12-31", NULL, 0},
        {6, 10, 367, "2026-12-31", NULL, 0},
        {26, 100, 321, "2026-11-20", "2026-11-17", 0},
        {25, 100, 363, "2026-01-05", "2025-12-29", 0},
        {27, 100, 1, "2026-11-20", NULL, 400},
        {0, 1, 321, "2026-11-20", "2026-11-17", 0},
        {0, 1, 325, "2026-11-20", "2026-11-21", 0},
        {0, 1, 326, "2026-11-20", "2025-11-22", 0},
        {6, 10, 321, "2026-11-20", "2026-11-17", 0},
        {5, 10, 321, "2026-11-20", "2025-11-17", 0},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        int32_t got = WHEN_UNKNOWN_DAY;
        const struct code_date date = {CASES[i].year, CASES[i].period, CASES[i].ordinal, 0, 0};
        bool found = code_date_latest(&date, day(CASES[i].received), CASES[i].max_age_days, &got);
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

static bool calendar(int year, int period, int month, int of_month, const char *received,
                     int32_t *ret)
{
    const struct code_date date = {year, period, CODE_DATE_NONE, month, of_month};
    return code_date_latest(&date, day(received), 400, ret);
}

static void months_and_days(void **state)
{
    (void)state;
    int32_t got;
    assert_true(calendar(6, 10, 11, 17, "2026-11-20", &got));
    assert_int_equal(got, day("2026-11-17"));
    assert_true(calendar(0, 1, 12, 30, "2026-01-05", &got));
    assert_int_equal(got, day("2025-12-30"));
    assert_false(calendar(6, 10, 13, 1, "2026-11-20", &got));
    assert_false(calendar(6, 10, 2, 30, "2026-11-20", &got));
    assert_false(calendar(10, 10, 2, 3, "2026-11-20", &got));
}

static void printed_dates(void **state)
{
    (void)state;
    static const struct {
        const char *text, *expected, *rest;
        bool day_first;
    } CASES[] = {
        {"L2 6321 B0412", NULL, NULL, false},
        {"6321-12", NULL, NULL, false},
        {"11/31/26", NULL, NULL, false},
        {"31 FEB", NULL, NULL, false},
        {"11/27/26 or 11/28/26", NULL, NULL, false}, /* two: not ours to choose */
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
