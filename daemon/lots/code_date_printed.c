/* Printed dates are found token by token: runs of digits, runs of letters, and what stands between
 * them. A date is one of
 *     number SEP number SEP number      2026-11-27   11/27/26   27.11.2026
 *     number SEP number                 11/27        (slash only: "6321-12" is no date)
 *     number month-name [number]        27 NOV 26    27NOV
 *     month-name number [number]        NOV 27, 2026                                         */
#include "base/when.h"
#include "lots/code_date.h"
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TOKENS = 24 };

struct token {
    const char *at;
    size_t length;
    int number; /* -1: letters */
    int month;  /* 1..12 for a month's name */
    bool label; /* "best", "by", "exp" …: belongs to the date beside it */
};

static int month_of(const char *at, size_t length)
{
    static const struct {
        const char *name;
        int month;
    } NAMES[] = {
        {"jan", 1}, {"feb", 2}, {"mar", 3}, {"apr", 4},  {"may", 5},  {"jun", 6},
        {"jul", 7}, {"aug", 8}, {"sep", 9}, {"oct", 10}, {"nov", 11}, {"dec", 12},
        {"ene", 1}, {"abr", 4}, {"ago", 8}, {"dic", 12},
    };
    if (length < 3)
        return 0;
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        if (!strncasecmp(at, NAMES[i].name, 3))
            return NAMES[i].month;
    return 0;
}

static bool is_label(const char *at, size_t length)
{
    static const char *const LABELS[] = {"best", "by",  "before",  "bb",   "bbe", "use",
                                         "sell", "exp", "expires", "date", "code"};
    for (size_t i = 0; i < sizeof LABELS / sizeof LABELS[0]; i++)
        if (strlen(LABELS[i]) == length && !strncasecmp(at, LABELS[i], length))
            return true;
    return false;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static size_t tokens_of(const char *text, struct token *tokens)
{
    size_t count = 0;
    for (const char *s = text; *s && count < TOKENS;) {
        const char *start = s;
        if (is_digit(*s)) {
            while (is_digit(*s))
                s++;
            size_t length = (size_t)(s - start);
            int value = length <= 4 ? (int)strtol(start, NULL, 10) : 99999;
            tokens[count++] = (struct token){start, length, value, 0, false};
        } else if (is_letter(*s)) {
            while (is_letter(*s))
                s++;
            size_t length = (size_t)(s - start);
            tokens[count++] =
                (struct token){start, length, -1, month_of(start, length), is_label(start, length)};
        } else {
            s++;
        }
    }
    return count;
}

/* The one separator between two neighbours, ' ' for blanks only, 0 for nothing, '?' for more. */
static char between(const struct token *a, const struct token *b)
{
    const char *from = a->at + a->length;
    size_t length = (size_t)(b->at - from), blanks = 0;
    char separator = 0;
    for (size_t i = 0; i < length; i++) {
        if (from[i] == ' ')
            blanks++;
        else if (separator)
            return '?';
        else
            separator = from[i];
    }
    return separator ? separator : (char)(blanks ? ' ' : 0);
}

static bool make(int year, size_t year_digits, int month, int day, int32_t received,
                 int32_t *ret_day)
{
    int received_year, unused_month, unused_day;
    day_to_civil(received, &received_year, &unused_month, &unused_day);
    if (month < 1 || month > 12 || day < 1)
        return false;
    if (year_digits == 2)
        year += received_year / 100 * 100;
    if (year_digits) {
        if (!day_is_valid(year, month, day))
            return false;
        *ret_day = day_from_civil(year, month, day);
        return abs(*ret_day - received) < 5 * 366; /* 27 NOV 12 on bread is something else */
    }
    bool found = false;
    for (int y = received_year - 1; y <= received_year + 1; y++) {
        if (!day_is_valid(y, month, day))
            continue;
        int32_t candidate = day_from_civil(y, month, day);
        if (!found || abs(candidate - received) < abs(*ret_day - received))
            *ret_day = candidate;
        found = true;
    }
    return found;
}

static bool is_year(const struct token *t)
{
    return t->number >= 0 && (t->length == 2 || t->length == 4);
}

static bool is_small(const struct token *t)
{
    return t->number >= 1 && t->length <= 2;
}

/* 11/27/26, 27.11.26, 11/27 */
static size_t numeric(const struct token *t, size_t left, bool month_first, int32_t received,
                      int32_t *ret_day)
{
    if (left < 2 || !is_small(&t[0]) || !is_small(&t[1]))
        return 0;
    char first = between(&t[0], &t[1]);
    if (!strchr("/.-", first) || !first)
        return 0;
    bool year = left >= 3 && is_year(&t[2]) && between(&t[1], &t[2]) == first;
    if (!year && first != '/')
        return 0;
    int a = t[0].number, b = t[1].number, y = year ? t[2].number : 0;
    size_t digits = year ? t[2].length : 0;
    bool months = first == '.' ? false : month_first;
    if (make(y, digits, months ? a : b, months ? b : a, received, ret_day) ||
        make(y, digits, months ? b : a, months ? a : b, received, ret_day))
        return year ? 3 : 2;
    return 0;
}

static size_t iso(const struct token *t, size_t left, int32_t received, int32_t *ret_day)
{
    if (left < 3 || t[0].number < 0 || t[0].length != 4 || !is_small(&t[1]) || !is_small(&t[2]) ||
        between(&t[0], &t[1]) != '-' || between(&t[1], &t[2]) != '-')
        return 0;
    return make(t[0].number, 4, t[1].number, t[2].number, received, ret_day) ? 3 : 0;
}

static size_t named(const struct token *t, size_t left, int32_t received, int32_t *ret_day)
{
    if (left < 2)
        return 0;
    const struct token *day = t[0].month ? &t[1] : &t[0];
    const struct token *month = t[0].month ? &t[0] : &t[1];
    if (!month->month || !is_small(day) || between(&t[0], &t[1]) == '?')
        return 0;
    if (left >= 3 && is_year(&t[2]) && between(&t[1], &t[2]) != '?' &&
        make(t[2].number, t[2].length, month->month, day->number, received, ret_day))
        return 3;
    return make(0, 0, month->month, day->number, received, ret_day) ? 2 : 0;
}

bool code_date_find(const char *text, bool month_first, int32_t received_day,
                    struct code_date_printed *ret)
{
    struct token tokens[TOKENS];
    size_t count = tokens_of(text, tokens), found = 0;
    struct code_date_printed date = {0};
    for (size_t i = 0; i < count;) {
        int32_t day;
        size_t used = iso(tokens + i, count - i, received_day, &day);
        if (!used)
            used = named(tokens + i, count - i, received_day, &day);
        if (!used)
            used = numeric(tokens + i, count - i, month_first, received_day, &day);
        if (!used) {
            i++;
            continue;
        }
        if (found++)
            return false;
        date.day = day;
        size_t first = i;
        while (first && tokens[first - 1].label)
            first--;
        date.from = (size_t)(tokens[first].at - text);
        date.to = (size_t)(tokens[i + used - 1].at + tokens[i + used - 1].length - text);
        i += used;
    }
    if (!found)
        return false;
    *ret = date;
    return true;
}
