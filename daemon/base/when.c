#include "base/when.h"
#include "base/text.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

/* ---- clocks ---- */

static int64_t read_clock(clockid_t id)
{
    struct timespec now;
    clock_gettime(id, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static int64_t system_now_ms(void *self)
{
    (void)self;
    return read_clock(CLOCK_REALTIME);
}

struct when_span when_span_until(struct when_span span, int64_t now_ms)
{
    assert(span.from_ms <= span.to_ms);
    return (struct when_span){span.from_ms, span.to_ms < now_ms ? span.to_ms : now_ms};
}

struct clock clock_system(void)
{
    return (struct clock){.now_ms = system_now_ms, .self = NULL};
}

int64_t clock_now_ms(const struct clock *clock)
{
    return clock->now_ms(clock->self);
}

int64_t clock_monotonic_ms(void)
{
    return read_clock(CLOCK_MONOTONIC);
}

/* ---- dates ---- */

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b < 0);
}

bool day_leap_year(int year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

static int days_in_month(int year, int month)
{
    assert(month >= 1 && month <= 12);
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return days[month - 1] + (month == 2 && day_leap_year(year));
}

bool day_is_valid(int year, int month, int day)
{
    return year >= 0 && year <= 9999 && month >= 1 && month <= 12 && day >= 1 &&
           day <= days_in_month(year, month);
}

/* Days before 1 March of a year that begins in March, so that the leap day comes last; 719468 days
 * lie between 0000-03-01 and 1970-01-01, 146097 are in 400 years. */
int32_t day_from_civil(int year, int month, int day)
{
    assert(month >= 1 && month <= 12);
    int64_t y = (int64_t)year - (month <= 2);
    int64_t era = floor_div(y, 400);
    int64_t year_of_era = y - era * 400;
    int64_t from_march = (month + 9) % 12;
    int64_t day_of_march_year = (153 * from_march + 2) / 5 + day - 1;
    int64_t day_of_era =
        year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_march_year;
    return (int32_t)(era * 146097 + day_of_era - 719468);
}

void day_to_civil(int32_t day, int *year, int *month, int *day_of_month)
{
    int64_t z = (int64_t)day + 719468;
    int64_t era = floor_div(z, 146097);
    int64_t day_of_era = z - era * 146097;
    int64_t year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_march_year =
        day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t from_march = (5 * day_of_march_year + 2) / 153;
    *day_of_month = (int)(day_of_march_year - (153 * from_march + 2) / 5 + 1);
    *month = (int)(from_march < 10 ? from_march + 3 : from_march - 9);
    *year = (int)(year_of_era + era * 400 + (*month <= 2));
}

int day_of_year(int32_t day)
{
    int year;
    int month;
    int day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    return day - day_from_civil(year, 1, 1) + 1;
}

int day_of_week(int32_t day)
{
    assert(day != WHEN_UNKNOWN_DAY);
    int64_t since_monday = (int64_t)day + 3; /* 1970-01-01 was a Thursday */
    return (int)(since_monday - floor_div(since_monday, 7) * 7) + 1;
}

/* ---- ISO weeks ---- */

struct iso_week iso_week_of(int32_t day)
{
    int year;
    int month;
    int day_of_month;
    int32_t thursday = day - day_of_week(day) + 4; /* a week belongs to its Thursday's year */
    day_to_civil(thursday, &year, &month, &day_of_month);
    return (struct iso_week){.year = year, .week = (day_of_year(thursday) - 1) / 7 + 1};
}

int iso_week_count(int year)
{
    return iso_week_of(day_from_civil(year, 12, 28)).week; /* 28 December is always in the last */
}

bool iso_week_is_valid(struct iso_week w)
{
    return w.year >= 0 && w.year <= 9999 && w.week >= 1 && w.week <= iso_week_count(w.year);
}

int32_t iso_week_monday(struct iso_week w)
{
    assert(w.week >= 1 && w.week <= 53);
    int32_t fourth = day_from_civil(w.year, 1, 4); /* 4 January is always in week 1 */
    return fourth - day_of_week(fourth) + 1 + (w.week - 1) * 7;
}

struct iso_week iso_week_add(struct iso_week w, int weeks)
{
    return iso_week_of(iso_week_monday(w) + weeks * 7);
}

/* ---- reading ---- */

/* `count` digits at *s, which moves past them. */
static bool read_digits(const char **s, int count, int *ret)
{
    int value = 0;
    for (int i = 0; i < count; i++, (*s)++) {
        if (**s < '0' || **s > '9')
            return false;
        value = value * 10 + (**s - '0');
    }
    *ret = value;
    return true;
}

static bool read_char(const char **s, const char *any_of)
{
    if (**s == '\0' || !strchr(any_of, **s))
        return false;
    (*s)++;
    return true;
}

static int refuse(struct error *err, const char *value, const char *reason)
{
    if (err && err->code == ERROR_NONE)
        error_field(err, NULL, value);
    return error_set(err, ERROR_INVALID, "%s", reason);
}

int iso_week_parse(const char *s, struct iso_week *ret, struct error *err)
{
    struct iso_week w;
    const char *p = s;
    if (!read_digits(&p, 4, &w.year) || !read_char(&p, "-") || !read_char(&p, "W") ||
        !read_digits(&p, 2, &w.week) || *p)
        return refuse(err, s, "is not an ISO week like 2026-W47");
    if (w.week < 1 || w.week > 53)
        return refuse(err, s, "weeks run from W01 to W53");
    if (!iso_week_is_valid(w))
        return refuse(err, s, "that year has only 52 weeks");
    *ret = w;
    return 0;
}

char *iso_week_format(struct iso_week w, char buffer[static 16])
{
    snprintf(buffer, 16, "%04d-W%02d", w.year, w.week);
    return buffer;
}

static bool read_date(const char **s, int *year, int *month, int *day)
{
    return read_digits(s, 4, year) && read_char(s, "-") && read_digits(s, 2, month) &&
           read_char(s, "-") && read_digits(s, 2, day);
}

int day_parse(const char *s, int32_t *ret, struct error *err)
{
    int year;
    int month;
    int day;
    const char *p = s;
    if (!read_date(&p, &year, &month, &day) || *p)
        return refuse(err, s, "is not a date like 2026-11-25");
    if (!day_is_valid(year, month, day))
        return refuse(err, s, "there is no such day");
    *ret = day_from_civil(year, month, day);
    return 0;
}

char *day_format(int32_t day, char buffer[static 16])
{
    int year;
    int month;
    int day_of_month;
    buffer[0] = '\0';
    if (day == WHEN_UNKNOWN_DAY)
        return buffer;
    day_to_civil(day, &year, &month, &day_of_month);
    snprintf(buffer, 16, "%04d-%02d-%02d", year, month, day_of_month);
    return buffer;
}

static bool read_fraction(const char **s, int *ret_ms)
{
    int scale = 100;
    const char *first = *s;
    *ret_ms = 0;
    for (; **s >= '0' && **s <= '9'; (*s)++, scale /= 10)
        *ret_ms += (**s - '0') * scale; /* digits past the third count for nothing */
    return *s > first;
}

static bool read_offset(const char **s, int *ret_min)
{
    int hours;
    int minutes;
    *ret_min = 0;
    if (read_char(s, "Zz"))
        return true;
    bool west = **s == '-';
    if (!read_char(s, "+-") || !read_digits(s, 2, &hours) || !read_char(s, ":") ||
        !read_digits(s, 2, &minutes) || hours > 23 || minutes > 59)
        return false;
    *ret_min = (hours * 60 + minutes) * (west ? -1 : 1);
    return true;
}

static bool read_instant(const char **s, struct civil *c)
{
    if (!read_date(s, &c->year, &c->month, &c->day) || !read_char(s, "Tt ") ||
        !read_digits(s, 2, &c->hour) || !read_char(s, ":") || !read_digits(s, 2, &c->minute) ||
        !read_char(s, ":") || !read_digits(s, 2, &c->second))
        return false;
    if (read_char(s, ".") && !read_fraction(s, &c->millisecond))
        return false;
    return read_offset(s, &c->offset_min);
}

int when_parse(const char *s, int64_t *ret_ms, struct error *err)
{
    struct civil c = {0};
    const char *p = s;
    if (!read_instant(&p, &c) || *p) {
        error_hint(err, "the offset from UTC is needed: -05:00, or Z");
        return refuse(err, s, "is not a time like 2026-11-20T09:14:00-05:00");
    }
    if (!day_is_valid(c.year, c.month, c.day))
        return refuse(err, s, "there is no such day");
    if (c.hour > 23 || c.minute > 59 || c.second > 60)
        return refuse(err, s, "there is no such time of day");
    bool leap = c.second == 60;
    int second = leap ? 59 : c.second;
    int64_t ms = day_from_civil(c.year, c.month, c.day) * WHEN_DAY_MS + c.hour * WHEN_HOUR_MS +
                 (c.minute - c.offset_min) * INT64_C(60000) + second * INT64_C(1000) +
                 c.millisecond;
    /* leap seconds are put in at the end of a UTC day only */
    if (leap &&
        floor_div(ms, 1000) * 1000 - floor_div(ms, WHEN_DAY_MS) * WHEN_DAY_MS != WHEN_DAY_MS - 1000)
        return refuse(err, s, "a second 60 is possible only at 23:59 UTC");
    *ret_ms = ms;
    return 0;
}
