#include "check.h"

#include "base/when.h"
#include <stdio.h>
#include <string.h>

static int32_t day(const char *text)
{
    int32_t value = 0;
    if (day_parse(text, &value, NULL))
        fail_msg("%s", text);
    return value;
}

static void days_are_counted(void **state)
{
    (void)state;
    assert_int_equal(day("1970-01-01"), 0);
    assert_int_equal(day("1969-12-31"), -1);
    assert_int_equal(day("2000-03-01"), 11017);
    assert_int_equal(day("0000-01-01"), -719528);
    assert_int_equal(day("9999-12-31"), 2932896);
    /* every day of the years 0..9999 follows the one before, back and forth */
    int32_t n = day("0000-01-01");
    int weekday = day_of_week(n);
    for (int year = 0; year <= 9999; year++) {
        for (int month = 1; month <= 12; month++) {
            for (int d = 1; day_is_valid(year, month, d); d++, n++) {
                int back[3];
                day_to_civil(n, &back[0], &back[1], &back[2]);
                if (day_from_civil(year, month, d) != n || back[0] != year || back[1] != month ||
                    back[2] != d || day_of_week(n) != weekday)
                    fail_msg("%04d-%02d-%02d", year, month, d);
                weekday = weekday % 7 + 1;
            }
        }
    }
    assert_int_equal(n, day("9999-12-31") + 1);
}

static void leap_years_and_ordinals(void **state)
{
    (void)state;
    static const struct {
        const char *date;
        int ordinal;
    } cases[] = {
        {"2020-12-31", 366}, {"2021-01-03", 3},   {"2024-02-29", 60},
        {"2024-12-30", 365}, {"2025-12-29", 363}, {"2026-11-25", 329},
        {"2026-12-31", 365}, {"2027-01-04", 4},   {"2000-12-31", 366},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++)
        assert_int_equal(day_of_year(day(cases[i].date)), cases[i].ordinal);
    assert_true(day_leap_year(2024) && day_leap_year(2000));
    assert_false(day_leap_year(2026) || day_leap_year(2100) || day_leap_year(1900));
}

/* ISO 8601-1 (2019) week dates, computed with Python's datetime (isocalendar). */
static const struct {
    const char *date, *iso;
} week_dates[] = {
    {"2004-12-26", "2004-W52-7"}, {"2004-12-27", "2004-W53-1"}, {"2005-01-01", "2004-W53-6"},
    {"2005-01-02", "2004-W53-7"}, {"2005-12-31", "2005-W52-6"}, {"2006-01-01", "2005-W52-7"},
    {"2006-01-02", "2006-W01-1"}, {"2007-01-01", "2007-W01-1"}, {"2008-12-28", "2008-W52-7"},
    {"2008-12-29", "2009-W01-1"}, {"2009-12-31", "2009-W53-4"}, {"2010-01-03", "2009-W53-7"},
    {"2010-01-04", "2010-W01-1"}, {"2012-01-01", "2011-W52-7"}, {"2015-12-31", "2015-W53-4"},
    {"2016-01-03", "2015-W53-7"}, {"2018-12-31", "2019-W01-1"}, {"2019-12-30", "2020-W01-1"},
    {"2020-12-27", "2020-W52-7"}, {"2020-12-28", "2020-W53-1"}, {"2020-12-31", "2020-W53-4"},
    {"2021-01-03", "2020-W53-7"}, {"2021-01-04", "2021-W01-1"}, {"2023-01-01", "2022-W52-7"},
    {"2024-02-29", "2024-W09-4"}, {"2024-12-29", "2024-W52-7"}, {"2024-12-30", "2025-W01-1"},
    {"2025-12-28", "2025-W52-7"}, {"2025-12-29", "2026-W01-1"}, {"2026-01-01", "2026-W01-4"},
    {"2026-01-04", "2026-W01-7"}, {"2026-01-05", "2026-W02-1"}, {"2026-12-28", "2026-W53-1"},
    {"2026-12-31", "2026-W53-4"}, {"2027-01-01", "2026-W53-5"}, {"2027-01-03", "2026-W53-7"},
    {"2027-01-04", "2027-W01-1"}, {"2027-12-31", "2027-W52-5"}, {"2028-01-01", "2027-W52-6"},
    {"2028-01-02", "2027-W52-7"}, {"2028-01-03", "2028-W01-1"}, {"2000-01-01", "1999-W52-6"},
    {"1900-02-28", "1900-W09-3"}, {"2100-03-01", "2100-W09-1"}, {"2026-11-25", "2026-W48-3"},
};

static void iso_weeks(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT_OF(week_dates); i++) {
        char got[32];
        char week_text[16];
        int32_t d = day(week_dates[i].date);
        struct iso_week w = iso_week_of(d);
        snprintf(got, sizeof got, "%s-%d", iso_week_format(w, week_text), day_of_week(d));
        assert_string_equal(got, week_dates[i].iso);
        assert_int_equal(iso_week_monday(w) + day_of_week(d) - 1, d);
    }
}

/* A year has 53 weeks if 1 January is a Thursday, or leap and 1 January a Wednesday. */
static void long_iso_years(void **state)
{
    (void)state;
    static const int long_years[] = {2004, 2009, 2015, 2020, 2026, 2032,
                                     2037, 2043, 2048, 2054, 2060};
    size_t next = 0;
    for (int year = 2000; year <= 2060; year++) {
        bool is_long = next < COUNT_OF(long_years) && long_years[next] == year;
        next += is_long;
        assert_int_equal(iso_week_count(year), is_long ? 53 : 52);
    }
}

static void weeks_are_read(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "2027-W53",   "2021-W53", "2025-W53", "2026-W00",  "2026-W54",  "2026-W1",
        "2026-w47",   "2026W47",  "26-W47",   "2026-W047", "2026-W47 ", " 2026-W47",
        "2026-W01-8", "2026-W4x", "",         "2026-W",    "-026-W47",
    };
    struct iso_week w = {0, 0};
    char text[16];
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        struct error err = {0};
        if (iso_week_parse(bad[i], &w, &err) != ERROR_INVALID)
            fail_msg("%s", bad[i]);
        assert_string_equal(err.value, bad[i]);
    }
    /* 2026 and 2020 have 53 weeks, 2025 and 2021 have 52 */
    static const struct {
        int year, week;
        bool is;
    } weeks[] = {{2026, 53, true}, {2026, 54, false}, {2025, 53, false}, {2025, 52, true},
                 {2020, 53, true}, {2021, 53, false}, {2026, 1, true},   {2026, 0, false},
                 {-1, 1, false},   {0, 1, true},      {9999, 52, true},  {10000, 1, false}};
    for (size_t i = 0; i < COUNT_OF(weeks); i++)
        if (iso_week_is_valid((struct iso_week){weeks[i].year, weeks[i].week}) != weeks[i].is)
            fail_msg("%d-W%02d", weeks[i].year, weeks[i].week);
    assert_int_equal(iso_week_parse("2026-W53", &w, NULL), 0);
    assert_string_equal(iso_week_format(iso_week_add(w, 1), text), "2027-W01");
    assert_string_equal(iso_week_format(iso_week_add(w, -53), text), "2025-W52");
    assert_string_equal(iso_week_format(iso_week_add(w, 0), text), "2026-W53");
}

static void dates_are_read(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "2026-02-29",  "2026-13-01", "2026-00-10", "2026-04-31",
        "2026-1-05",   "26-01-05",   "2026/01/05", "2026-01-05T",
        " 2026-01-05", "2026-01-00", "2100-02-29", "2026-01-32",
        "20260105",    "",
    };
    int32_t got = 0;
    char text[16];
    for (size_t i = 0; i < COUNT_OF(bad); i++)
        if (day_parse(bad[i], &got, NULL) != ERROR_INVALID)
            fail_msg("%s", bad[i]);
    assert_string_equal(day_format(day("2024-02-29"), text), "2024-02-29");
    assert_string_equal(day_format(day("0007-01-02"), text), "0007-01-02");
    assert_string_equal(day_format(WHEN_UNKNOWN_DAY, text), "");
}

/* RFC 3339 (G. Klyne, C. Newman, 2002), section 5.8 gives the first five. */
static void instants_are_read(void **state)
{
    (void)state;
    static const struct {
        const char *text, *utc;
    } cases[] = {
        {"1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"},
        {"1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57.000Z"},
        {"1990-12-31T23:59:60Z", "1990-12-31T23:59:59.000Z"},
        {"1990-12-31T15:59:60-08:00", "1990-12-31T23:59:59.000Z"},
        {"1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"},
        {"2026-11-20T09:14:00-05:00", "2026-11-20T14:14:00.000Z"},
        {"2026-11-20t09:14:00z", "2026-11-20T09:14:00.000Z"},
        {"2026-11-20 09:14:00-00:00", "2026-11-20T09:14:00.000Z"},
        {"2026-11-20T09:14:00.1239999Z", "2026-11-20T09:14:00.123Z"},
        {"2026-11-20T09:14:00.00000000000000000001Z", "2026-11-20T09:14:00.000Z"},
        {"1969-12-31T23:59:59.999Z", "1969-12-31T23:59:59.999Z"},
        {"0000-01-01T00:00:00Z", "0000-01-01T00:00:00.000Z"},
        {"9999-12-31T23:59:59.999Z", "9999-12-31T23:59:59.999Z"},
        {"2026-11-20T00:00:00+23:59", "2026-11-19T00:01:00.000Z"},
    };
    char text[32];
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        int64_t ms = 0;
        if (when_parse(cases[i].text, &ms, NULL))
            fail_msg("%s", cases[i].text);
        assert_string_equal(when_format_utc(ms, text), cases[i].utc);
    }
    int64_t ms = 0;
    assert_int_equal(when_parse("2022-02-22T19:22:22Z", &ms, NULL), 0);
    assert_true(ms == INT64_C(1645557742000));
}

static void not_instants(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "2026-11-20",
        "2026-11-20T09:14:00",
        "2026-11-20T09:14Z",
        "2026-11-20T09:14:00.Z",
        "2026-11-20T09:14:00,5Z",
        "2026-11-20T24:00:00Z",
        "2026-11-20T09:60:00Z",
        "2026-11-20T09:14:61Z",
        "2026-11-20T09:14:60Z", /* no leap second in the middle of a day */
        "2026-11-20T23:59:60-05:00",
        "2026-02-30T09:14:00Z",
        "2026-11-20T09:14:00+5:00",
        "2026-11-20T09:14:00+0500",
        "2026-11-20T09:14:00+24:00",
        "2026-11-20T09:14:00+05:60",
        "2026-11-20T09:14:00 Z",
        "2026-11-20T09:14:00Z ",
        " 2026-11-20T09:14:00Z",
        "2026-11-20T09:14:00ZZ",
        "2026-11-20T9:14:00Z",
        "2026-11-20__09:14:00Z",
        "20261120T091400Z",
        "+2026-11-20T09:14:00Z",
        "2026-11-20T09:14:00\u221205:00", /* a minus sign, no hyphen */
    };
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        int64_t ms = -77;
        struct error err = {0};
        if (when_parse(bad[i], &ms, &err) != ERROR_INVALID)
            fail_msg("%s", bad[i]);
        assert_int_equal(ms, -77);
        assert_true(err.text[0] != '\0');
    }
}

static void edges_of_writing(void **state)
{
    (void)state;
    char text[40];
    assert_string_equal(when_format_utc(WHEN_UNKNOWN_MS, text), "");
    assert_string_equal(when_format(NULL, WHEN_UNKNOWN_MS, text), "");
    assert_string_equal(when_format_mail(NULL, WHEN_UNKNOWN_MS, text), "");
    assert_string_equal(when_format_utc(INT64_MAX, text), "9999-12-31T23:59:59.999Z");
    assert_string_equal(when_format_utc(INT64_MIN + 1, text), "0000-01-01T00:00:00.000Z");
    assert_string_equal(when_format(NULL, 0, text), "1970-01-01T00:00:00+00:00");
    assert_int_equal(tz_day(NULL, WHEN_UNKNOWN_MS), WHEN_UNKNOWN_DAY);
}

static int64_t fixed_now(void *self)
{
    return *(const int64_t *)self;
}

static void clocks_are_values(void **state)
{
    (void)state;
    int64_t now = 42;
    struct clock fixed = {.now_ms = fixed_now, .self = &now};
    assert_int_equal(clock_now_ms(&fixed), 42);
    struct clock real = clock_system();
    assert_true(clock_now_ms(&real) > INT64_C(1700000000000));
    int64_t before = clock_monotonic_ms();
    assert_true(clock_monotonic_ms() >= before);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(days_are_counted),  cmocka_unit_test(leap_years_and_ordinals),
        cmocka_unit_test(iso_weeks),         cmocka_unit_test(long_iso_years),
        cmocka_unit_test(weeks_are_read),    cmocka_unit_test(dates_are_read),
        cmocka_unit_test(instants_are_read), cmocka_unit_test(not_instants),
        cmocka_unit_test(edges_of_writing),  cmocka_unit_test(clocks_are_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
