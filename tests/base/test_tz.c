#include "check.h"

#include "base/tz_of.h"
#include "base/tz_rule.h"
#include "base/when.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* All zone values: IANA time zone database, releases 2025b and later, the instants and lengths
 * computed with Python's zoneinfo and glibc's mktime. */

static struct tz *zone(const char *name)
{
    struct tz *tz = NULL;
    struct error err = {0};
    if (tz_open(name, &tz, &err))
        fail_msg("%s: %s", name, err.text);
    return tz;
}

static int32_t day(const char *text)
{
    int32_t value = 0;
    assert_int_equal(day_parse(text, &value, NULL), 0);
    return value;
}

static int64_t instant(const char *text)
{
    int64_t value = 0;
    assert_int_equal(when_parse(text, &value, NULL), 0);
    return value;
}

static void a_plant_has_its_own_zone(void **state)
{
    (void)state;
    struct tz *tz = zone("America/New_York");
    assert_int_equal(tz_of_add(tz, "west", "America/Los_Angeles", NULL), 0);
    assert_int_equal(tz_of_add(tz, "east", "America/New_York", NULL), 0);
    assert_int_equal(tz_of_add(tz, "far", "Mars/Olympus", NULL), ERROR_NOT_FOUND);
    assert_string_equal(tz_name(tz_of(tz, "west")), "America/Los_Angeles");
    const char *const others[] = {"east", "far", "West", "", NULL};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        assert_ptr_equal(tz_of(tz, others[i]), tz);
    assert_null(tz_of(NULL, "west"));
    int64_t ms = instant("2026-11-15T06:30:00Z");
    assert_int_equal(tz_day(tz_of(tz, "west"), ms), day("2026-11-14"));
    assert_int_equal(tz_day(tz, ms), day("2026-11-15"));
    assert_int_equal(tz_of_day(tz, "west", ms), day("2026-11-14"));
    assert_int_equal(tz_of_day(tz, "", ms), day("2026-11-15"));
    assert_int_equal(tz_of_add(tz, "isle", "Pacific/Auckland", NULL), 0);
    ms = instant("2026-11-15T14:30:00Z");
    assert_int_equal(tz_of_day(tz, NULL, ms), day("2026-11-16"));
    assert_int_equal(tz_of_day(tz_of(tz, "west"), "", ms), day("2026-11-16"));
    assert_int_equal(tz_of_day(tz, "east", ms), day("2026-11-15"));
    tz_close(tz);
}

static void local_days_are_not_24_hours(void **state)
{
    (void)state;
    static const struct {
        const char *zone, *date;
        double hours;
        int start_minute; /* of its wall clock */
    } cases[] = {
        {"Europe/Berlin", "2026-03-29", 23, 0},
        {"Europe/Berlin", "2026-10-25", 25, 0},
        {"America/New_York", "2026-03-08", 23, 0},
        {"America/New_York", "2026-11-01", 25, 0},
        {"Australia/Lord_Howe", "2026-04-05", 24.5, 0},
        {"Australia/Lord_Howe", "2026-10-04", 23.5, 0},
        {"America/Sao_Paulo", "2018-11-04", 23, 60}, /* no midnight */
        {"Africa/Cairo", "2026-04-24", 23, 60},      /* no midnight */
        {"Asia/Kolkata", "2026-03-29", 24, 0},
        {"Pacific/Apia", "2011-12-29", 24, 0},
        {"Pacific/Apia", "2011-12-30", 0, 0}, /* no such day there */
        {"Pacific/Apia", "2011-12-31", 24, 0},
        {"UTC", "2026-03-29", 24, 0},
        /* far beyond the listed transitions: the rule at the file's end */
        {"America/New_York", "2525-03-11", 23, 0},
        {"Europe/Berlin", "2525-10-28", 25, 0},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        struct tz *tz = zone(cases[i].zone);
        int64_t start = tz_day_start_ms(tz, day(cases[i].date));
        int64_t end = tz_day_start_ms(tz, day(cases[i].date) + 1);
        struct civil c = tz_civil(tz, start);
        if ((double)(end - start) != cases[i].hours * (double)WHEN_HOUR_MS ||
            c.hour * 60 + c.minute != cases[i].start_minute)
            fail_msg("%s %s: %.2f h", cases[i].zone, cases[i].date,
                     (double)(end - start) / (double)WHEN_HOUR_MS);
        tz_close(tz);
    }
    struct tz *berlin = zone("Europe/Berlin");
    int32_t w13 = iso_week_monday((struct iso_week){2026, 13});
    int32_t w43 = iso_week_monday((struct iso_week){2026, 43});
    assert_true(tz_day_start_ms(berlin, w13 + 7) - tz_day_start_ms(berlin, w13) ==
                167 * WHEN_HOUR_MS);
    assert_true(tz_day_start_ms(berlin, w43 + 7) - tz_day_start_ms(berlin, w43) ==
                169 * WHEN_HOUR_MS);
    tz_close(berlin);
}

static void repeated_and_missing_hours(void **state)
{
    (void)state;
    static const struct {
        const char *zone, *date;
        int minute;
        int64_t first_s, second_s; /* second 0: the hour is not repeated */
    } cases[] = {
        {"America/New_York", "2026-11-01", 90, 1793511000, 1793514600},
        {"Europe/Berlin", "2026-10-25", 150, 1792888200, 1792891800},
        {"America/New_York", "2026-03-08", 210, 1772955000, 0},
        /* 02:30 does not exist: the first instant after the gap, 03:00 */
        {"America/New_York", "2026-03-08", 150, 1772953200, 0},
        {"America/New_York", "2026-03-08", 120, 1772953200, 0},
        {"America/New_York", "2026-03-08", 119, 1772953140, 0},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        struct tz *tz = zone(cases[i].zone);
        int64_t got = tz_instant_ms(tz, day(cases[i].date), cases[i].minute);
        assert_int_equal(got, cases[i].first_s * 1000);
        if (cases[i].second_s) {
            struct civil a = tz_civil(tz, cases[i].first_s * 1000);
            struct civil b = tz_civil(tz, cases[i].second_s * 1000);
            assert_int_equal(a.hour * 60 + a.minute, cases[i].minute);
            assert_int_equal(b.hour * 60 + b.minute, cases[i].minute);
            assert_int_equal(a.offset_min - b.offset_min, 60);
        }
        tz_close(tz);
    }
}

static void the_plants_zone_decides_the_week(void **state)
{
    (void)state;
    char text[16];
    struct tz *new_york = zone("America/New_York");
    int64_t ms = instant("2021-01-04T03:00:00Z");
    assert_string_equal(iso_week_format(iso_week_of(tz_day(NULL, ms)), text), "2021-W01");
    assert_string_equal(iso_week_format(iso_week_of(tz_day(new_york, ms)), text), "2020-W53");
    assert_int_equal(day_of_week(tz_day(new_york, ms)), 7);
    tz_close(new_york);
}

static void no_call_leans_on_another(void **state)
{
    (void)state;
    struct tz *new_york = zone("America/New_York");
    struct tz *berlin = zone("Europe/Berlin");
    int32_t d = day("2026-11-01");
    setenv("TZ", "Asia/Tokyo", 1);
    for (int i = 0; i < 3; i++) {
        tz_instant_ms(new_york, day(i % 2 ? "2026-07-01" : "2026-12-01"), 0);
        tz_instant_ms(berlin, d, 0);
        assert_int_equal(tz_instant_ms(new_york, d, 90), INT64_C(1793511000000));
    }
    unsetenv("TZ");
    tz_close(berlin);
    tz_close(new_york);
}

static void writing(void **state)
{
    (void)state;
    char text[40];
    struct tz *new_york = zone("America/New_York");
    struct tz *kolkata = zone("Asia/Kolkata");
    int64_t ms = instant("2026-11-20T14:14:00Z");
    assert_string_equal(when_format(new_york, ms, text), "2026-11-20T09:14:00-05:00");
    assert_string_equal(when_format(kolkata, ms, text), "2026-11-20T19:44:00+05:30");
    assert_string_equal(when_format_mail(new_york, ms, text), "Fri, 20 Nov 2026 09:14:00 -0500");
    assert_string_equal(when_format_mail(kolkata, ms, text), "Fri, 20 Nov 2026 19:44:00 +0530");
    assert_string_equal(when_format_mail(NULL, 0, text), "Thu, 01 Jan 1970 00:00:00 +0000");
    assert_string_equal(tz_name(new_york), "America/New_York");
    assert_string_equal(tz_name(NULL), "UTC");
    /* what is written is read back to the same instant, local mean time (-4:56:02) included */
    ms = instant("1850-06-01T12:00:00Z");
    when_format(new_york, ms, text);
    assert_string_equal(text, "1850-06-01T07:04:00-04:56");
    assert_int_equal(instant(text), ms);
    tz_close(kolkata);
    tz_close(new_york);
}

static void names_are_checked(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",     "/etc/passwd",           "../zoneinfo/UTC", "Europe/../UTC", "Europe/Ber lin",
        "a\nb", "Europe/Berlin\xc3\xa9",
    };
    struct tz *tz = NULL;
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        struct error err = {0};
        assert_int_equal(tz_open(bad[i], &tz, &err), ERROR_INVALID);
        assert_string_equal(err.text, "is not a time zone name");
    }
    struct error err = {0};
    assert_int_equal(tz_open("Europe/Harrow_Mill", &tz, &err), ERROR_NOT_FOUND);
    assert_string_equal(err.value, "Europe/Harrow_Mill");
    assert_int_equal(tz_open("Europe", &tz, NULL), ERROR_INVALID); /* a folder */
    assert_int_equal(tz_open("zone1970.tab", &tz, NULL), ERROR_INVALID);
    assert_null(tz);
}

/* Own zone files: a good one with three bytes of each region broken in turn must never be trusted
 * beyond its end, and a missing database still leaves UTC. */
static void damaged_files(void **state)
{
    (void)state;
    static const unsigned char good[] =
        "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\1\0\0\0"
        "\0\0\0\0"
        "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\2\0\0\0\4"
        "\0\0\0\0\x10\0\0\0\1\0\0\0\0\0\0\0\0\x0e\x10\1\0XXX\0\nXXX0YYY,M3.2.0,M11.1.0\n";
    char folder[] = "/tmp/oddloaf-tz-XXXXXX";
    char path[64];
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/Zone", folder);
    setenv("TZDIR", folder, 1);
    size_t length = sizeof good - 1;
    for (size_t cut = 0; cut <= length; cut++) {
        FILE *file = fopen(path, "wb");
        assert_non_null(file);
        assert_int_equal(fwrite(good, 1, cut, file), cut);
        fclose(file);
        struct tz *tz = NULL;
        int rc = tz_open("Zone", &tz, NULL);
        if (cut < length) {
            assert_int_equal(rc, ERROR_INVALID);
            continue;
        }
        assert_int_equal(rc, 0);
        assert_int_equal(tz_offset_min(tz, 0), 0);
        assert_int_equal(tz_offset_min(tz, 0x10000000 * INT64_C(1000)), 60);
        tz_close(tz);
    }
    for (size_t at = 0; at < length; at++) {
        for (unsigned flip = 1; flip < 256; flip = flip * 2 + 1) {
            FILE *file = fopen(path, "wb");
            assert_non_null(file);
            fwrite(good, 1, at, file);
            fputc((int)(good[at] ^ flip), file);
            fwrite(good + at + 1, 1, length - at - 1, file);
            fclose(file);
            struct tz *tz = NULL;
            if (tz_open("Zone", &tz, NULL) == 0) {
                tz_day_start_ms(tz, 20000);
                tz_instant_ms(tz, 2932896, 1439);
                tz_instant_ms(tz, -719528, 0);
                tz_close(tz);
            }
        }
    }
    unlink(path);
    struct tz *utc = zone("UTC");
    assert_int_equal(tz_offset_min(utc, 0), 0);
    tz_close(utc);
    unsetenv("TZDIR");
    rmdir(folder);
}

/* Rule texts of RFC 8536 (A. Olson, P. Eggert, K. Murchison, 2019), section 3.3 and appendix B,
 * and of POSIX.1-2017, chapter 8.3. */
static void rules(void **state)
{
    (void)state;
    struct tz_rule r;
    static const char *const bad[] = {
        "EST",
        "E5",
        "EST5EDT",
        "EST5EDT,M3.2.0",
        "EST25",
        "<+03>3x",
        "EST5EDT,M13.2.0,M11.1.0",
        "EST5EDT,M3.6.0,M11.1.0",
        "EST5EDT,M3.2.7,M11.1.0",
        "EST5EDT,J0,J365",
        "EST5EDT,366,1",
        "EST5:60",
        "EST5EDT,M3.2.0/168,M11.1.0",
        "<AB5",
        "AB3",
        "<+033-3:3",
        "EST5EDT,M3.2.0,M11.1.0,",
    };
    for (size_t i = 0; i < COUNT_OF(bad); i++)
        if (tz_rule_parse(bad[i], &r))
            fail_msg("%s", bad[i]);
    assert_true(tz_rule_parse("", &r));
    assert_false(r.known);
    assert_true(tz_rule_parse("<+0330>-3:30", &r));
    assert_int_equal(tz_rule_offset(&r, 0), 12600);
    assert_true(tz_rule_next(&r, 0) == INT64_MAX);

    /* daylight time all year: always -4 h */
    assert_true(tz_rule_parse("EST5EDT,0/0,J365/25", &r));
    for (int64_t s = INT64_C(1767200000); s < INT64_C(1767300000); s += 1800)
        assert_int_equal(tz_rule_offset(&r, s), -4 * 3600);
    /* winter time that is the "daylight" one, on the southern pattern of the year */
    assert_true(tz_rule_parse("IST-1GMT0,M10.5.0,M3.5.0/1", &r));
    assert_int_equal(tz_rule_offset(&r, instant("2026-01-15T12:00:00Z") / 1000), 0);
    assert_int_equal(tz_rule_offset(&r, instant("2026-07-15T12:00:00Z") / 1000), 3600);
    /* hours before the day: the Saturday evening before the last Sunday of March */
    assert_true(tz_rule_parse("<-02>2<-01>,M3.5.0/-1,M10.5.0/0", &r));
    assert_int_equal(tz_rule_offset(&r, instant("2026-03-29T00:59:59Z") / 1000), -7200);
    assert_int_equal(tz_rule_offset(&r, instant("2026-03-29T01:00:00Z") / 1000), -3600);
    assert_true(tz_rule_next(&r, instant("2026-03-28T00:00:00Z") / 1000) ==
                instant("2026-03-29T01:00:00Z") / 1000);
    /* J counts 1 March as 60 in leap years too, the plain number does not */
    assert_true(tz_rule_parse("AAA0BBB,J60/0,300/0", &r));
    assert_int_equal(tz_rule_offset(&r, instant("2028-02-29T12:00:00Z") / 1000), 0);
    assert_int_equal(tz_rule_offset(&r, instant("2028-03-01T12:00:00Z") / 1000), 3600);
    assert_true(tz_rule_parse("AAA0BBB,59/0,300/0", &r));
    assert_int_equal(tz_rule_offset(&r, instant("2028-02-29T12:00:00Z") / 1000), 3600);
}

/* Wall clock and instant are inverse wherever the wall clock is not repeated. */
static void there_and_back(void **state)
{
    (void)state;
    static const char *const zones[] = {"America/New_York",  "Europe/Berlin", "Australia/Lord_Howe",
                                        "Africa/Casablanca", "Pacific/Apia",  "America/St_Johns",
                                        "Asia/Tehran",       "Europe/Dublin", "America/Nuuk"};
    for (size_t z = 0; z < COUNT_OF(zones); z++) {
        struct tz *tz = zone(zones[z]);
        int64_t end = instant("2045-01-01T00:00:00Z");
        for (int64_t ms = instant("1995-01-01T00:00:00Z"); ms < end; ms += INT64_C(7) * 1800000) {
            struct civil c = tz_civil(tz, ms);
            int32_t d = day_from_civil(c.year, c.month, c.day);
            int64_t back = tz_instant_ms(tz, d, c.hour * 60 + c.minute);
            struct civil again = tz_civil(tz, back);
            if (back > ms || again.hour != c.hour || again.minute != c.minute ||
                tz_day(tz, ms) != d || (back == ms) != (again.offset_min == c.offset_min))
                fail_msg("%s %lld", zones[z], (long long)ms);
            if (tz_day_start_ms(tz, d) > ms)
                fail_msg("%s day start %lld", zones[z], (long long)ms);
        }
        tz_close(tz);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plant_has_its_own_zone),
        cmocka_unit_test(local_days_are_not_24_hours),
        cmocka_unit_test(repeated_and_missing_hours),
        cmocka_unit_test(the_plants_zone_decides_the_week),
        cmocka_unit_test(no_call_leans_on_another),
        cmocka_unit_test(writing),
        cmocka_unit_test(names_are_checked),
        cmocka_unit_test(damaged_files),
        cmocka_unit_test(rules),
        cmocka_unit_test(there_and_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
