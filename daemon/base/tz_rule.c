#include "base/tz_rule.h"
#include "base/when.h"
#include <assert.h>
#include <stddef.h>

#define DAY_S 86400

int32_t tz_rule_whole_minutes(int32_t offset_s)
{
    int32_t half = offset_s < 0 ? -30 : 30;
    return (offset_s + half) / 60 * 60;
}

/* ---- reading ---- */

static bool read_int(const char **s, int max, int *ret)
{
    int value = 0;
    const char *first = *s;
    for (; **s >= '0' && **s <= '9'; (*s)++) {
        value = value * 10 + (**s - '0');
        if (value > max)
            return false;
    }
    *ret = value;
    return *s > first;
}

static bool is_name_char(char c, bool quoted)
{
    bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
    return letter || (quoted && ((c >= '0' && c <= '9') || c == '+' || c == '-'));
}

static bool skip_name(const char **s)
{
    bool quoted = **s == '<';
    if (quoted)
        (*s)++;
    const char *first = *s;
    while (is_name_char(**s, quoted))
        (*s)++;
    bool long_enough = *s - first >= 3;
    if (quoted && *(*s)++ != '>')
        return false;
    return long_enough;
}

/* [+-]h[h[h]][:mm[:ss]] */
static bool read_time(const char **s, int max_hours, int32_t *ret)
{
    int part[3] = {0};
    bool negative = **s == '-';
    if (**s == '-' || **s == '+')
        (*s)++;
    if (!read_int(s, max_hours, &part[0]))
        return false;
    for (int i = 1; i < 3 && **s == ':'; i++) {
        (*s)++;
        if (!read_int(s, 59, &part[i]))
            return false;
    }
    int32_t value = part[0] * 3600 + part[1] * 60 + part[2];
    *ret = negative ? -value : value;
    return true;
}

static bool read_month_form(const char **s, struct tz_change *c)
{
    (*s)++;
    return read_int(s, 12, &c->month) && c->month >= 1 && *(*s)++ == '.' &&
           read_int(s, 5, &c->week) && c->week >= 1 && *(*s)++ == '.' &&
           read_int(s, 6, &c->weekday);
}

static bool read_change(const char **s, struct tz_change *c)
{
    bool good;
    if (*(*s)++ != ',')
        return false;
    c->kind = **s == 'M' || **s == 'J' ? **s : 'N';
    if (c->kind == 'M') {
        good = read_month_form(s, c);
    } else {
        *s += c->kind == 'J';
        good = read_int(s, 365, &c->day) && (c->kind == 'N' || c->day >= 1);
    }
    c->time_s = 2 * 3600;
    if (good && **s == '/') {
        (*s)++;
        good = read_time(s, 167, &c->time_s);
    }
    return good;
}

bool tz_rule_parse(const char *text, struct tz_rule *ret)
{
    const char *s = text;
    int32_t west = 0;
    *ret = (struct tz_rule){0};
    if (*s == '\0')
        return true;
    if (!skip_name(&s) || !read_time(&s, 24, &west))
        return false;
    ret->known = true;
    ret->std_s = tz_rule_whole_minutes(-west);
    if (*s == '\0')
        return true;
    if (!skip_name(&s))
        return false;
    ret->has_dst = true;
    ret->dst_s = ret->std_s + 3600;
    if (*s != ',' && *s != '\0') {
        if (!read_time(&s, 24, &west))
            return false;
        ret->dst_s = tz_rule_whole_minutes(-west);
    }
    return read_change(&s, &ret->start) && read_change(&s, &ret->end) && *s == '\0';
}

/* ---- the year's two changes ---- */

static int32_t change_day(const struct tz_change *c, int year)
{
    assert(c->kind == 'M' || c->kind == 'J' || c->kind == 'N');
    int32_t january = day_from_civil(year, 1, 1);
    if (c->kind == 'N')
        return january + c->day;
    if (c->kind == 'J')
        return january + c->day - 1 + (day_leap_year(year) && c->day >= 60);
    int32_t first = day_from_civil(year, c->month, 1);
    int32_t next_month =
        c->month == 12 ? day_from_civil(year + 1, 1, 1) : day_from_civil(year, c->month + 1, 1);
    int weekday_of_first = day_of_week(first) % 7; /* 0 Sunday, as the rule counts */
    int32_t day = first + (c->weekday - weekday_of_first + 7) % 7 + (c->week - 1) * 7;
    return day >= next_month ? day - 7 : day; /* week 5 means the last */
}

static int64_t change_s(const struct tz_change *c, int year, int32_t offset_before_s)
{
    return (int64_t)change_day(c, year) * DAY_S + c->time_s - offset_before_s;
}

static int year_of(int64_t local_s)
{
    int year;
    int month;
    int day;
    day_to_civil((int32_t)((local_s - (local_s % DAY_S + DAY_S) % DAY_S) / DAY_S), &year, &month,
                 &day);
    return year;
}

int32_t tz_rule_offset(const struct tz_rule *rule, int64_t instant_s)
{
    if (!rule->has_dst)
        return rule->std_s;
    int year = year_of(instant_s + rule->std_s);
    int64_t start = change_s(&rule->start, year, rule->std_s);
    int64_t end = change_s(&rule->end, year, rule->dst_s);
    bool dst =
        start < end ? instant_s >= start && instant_s < end : instant_s >= start || instant_s < end;
    return dst ? rule->dst_s : rule->std_s;
}

int64_t tz_rule_next(const struct tz_rule *rule, int64_t instant_s)
{
    int64_t first = INT64_MAX;
    if (!rule->has_dst)
        return first;
    int year = year_of(instant_s + rule->std_s);
    for (int y = year - 1; y <= year + 1; y++) {
        int64_t changes[] = {change_s(&rule->start, y, rule->std_s),
                             change_s(&rule->end, y, rule->dst_s)};
        for (int i = 0; i < 2; i++)
            if (changes[i] > instant_s && changes[i] < first)
                first = changes[i];
    }
    return first;
}
