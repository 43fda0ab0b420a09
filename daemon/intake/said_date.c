#include "intake/said_date.h"
#include "base/text.h"
#include "base/when.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TOKENS 8
#define TOKEN_BYTES 24
#define AGO_LIMIT 3660

enum answer { NO_MATCH, MATCH, WRONG };

/* What was said, cut into numbers and words; `dotted` if a dot stood between numbers. */
struct said {
    char token[TOKENS][TOKEN_BYTES];
    bool number[TOKENS], ordinal[TOKENS]; /* "19th" */
    int count;
    bool dotted, last; /* "last Wed" */
    bool day_first;
    int32_t today;
    enum said_span span;
};

/* ---- words ---- */

struct word {
    const char *word;
    int value;
};

static const struct word day_words[] = {
    {"today", 0},    {"tonight", 0}, {"now", 0},     {"hoy", 0},       {"yesterday", -1},
    {"yest", -1},    {"ayer", -1},   {"anoche", -1}, {"anteayer", -2}, {"antier", -2},
    {"tomorrow", 1}, {"manana", 1},  {NULL, 0}};
static const struct word count_words[] = {
    {"a", 1},     {"an", 1},   {"one", 1},    {"two", 2},   {"three", 3},
    {"four", 4},  {"five", 5}, {"six", 6},    {"seven", 7}, {"eight", 8},
    {"nine", 9},  {"ten", 10}, {"couple", 2}, {"un", 1},    {"una", 1},
    {"dos", 2},   {"tres", 3}, {"cuatro", 4}, {"cinco", 5}, {"seis", 6},
    {"siete", 7}, {"ocho", 8}, {"nueve", 9},  {"diez", 10}, {NULL, 0}};
static const struct word unit_words[] = {
    {"day", 1},  {"days", 1},   {"d", 1},       {"week", 7},       {"weeks", 7},
    {"wk", 7},   {"wks", 7},    {"night", 1},   {"nights", 1},     {"dia", 1},
    {"dias", 1}, {"semana", 7}, {"semanas", 7}, {"fortnight", 14}, {NULL, 0}};
static const char *const weekdays[] = {"monday", "tuesday",  "wednesday", "thursday",
                                       "friday", "saturday", "sunday",    NULL};
static const char *const weekdays_es[] = {"lunes",   "martes", "miercoles", "jueves",
                                          "viernes", "sabado", "domingo",   NULL};
static const char *const months[] = {"january",  "february", "march",  "april",     "may",
                                     "june",     "july",     "august", "september", "october",
                                     "november", "december", NULL};

static const char *const months_es[] = {"enero",     "febrero",   "marzo",  "abril",      "mayo",
                                        "junio",     "julio",     "agosto", "septiembre", "octubre",
                                        "noviembre", "diciembre", NULL};

static bool find_word(const struct word *rows, const char *word, int *ret)
{
    for (; rows->word; rows++) {
        if (strcmp(rows->word, word) == 0) {
            *ret = rows->value;
            return true;
        }
    }
    return false;
}

/* 1-based place of the name that begins with `word` (three letters or more), 0 if none. */
static int find_name(const char *const *names, const char *word)
{
    size_t length = strlen(word);
    if (length < 3)
        return 0;
    for (int i = 0; names[i]; i++)
        if (strncmp(names[i], word, length) == 0)
            return i + 1;
    return 0;
}

static int find_day(const char *word)
{
    int day = find_name(weekdays, word);
    return day ? day : find_name(weekdays_es, word);
}

static int find_month(const char *word)
{
    int month = find_name(months, word);
    return month ? month : find_name(months_es, word);
}

/* cut() takes none of more digits: no date has them, and an int holds what is made of fewer. */
enum { NUMBER_DIGITS = 8 };

static int number_of(const char *token)
{
    return (int)strtol(token, NULL, 10);
}

/* ---- cutting ---- */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return c >= 'a' && c <= 'z';
}

static bool is_ordinal(const char *s)
{
    static const char *const endings[] = {"st", "nd", "rd", "th"};
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++)
        if (strncmp(s, endings[i], 2) == 0 && !is_letter(s[2]))
            return true;
    return false;
}

/* False if there is more than a date can hold. Filler words are dropped. */
static bool cut(const char *text, struct said *ret)
{
    /* the time of day tells nothing of the day */
    static const char *const filler[] = {"on",   "the", "of", "this", "about", "around",
                                         "just", "de",  "el", "en",   "la",    "pasado"};
    static const char *const times[] = {"morning", "afternoon", "evening", "noon"};
    char folded[96];
    bool timed = false;
    text_fold(text, folded, sizeof folded);
    for (const char *p = folded; *p;) {
        if (!is_digit(*p) && !is_letter(*p)) {
            ret->dotted = ret->dotted || *p == '.';
            p++;
            continue;
        }
        bool number = is_digit(*p);
        size_t n = 0;
        while (number ? is_digit(p[n]) : is_letter(p[n]))
            n++;
        if (ret->count == TOKENS || n >= TOKEN_BYTES || (number && n > NUMBER_DIGITS))
            return false;
        char *token = ret->token[ret->count];
        memcpy(token, p, n);
        token[n] = '\0';
        bool keep = !(ret->count && (strcmp(token, "night") == 0 || strcmp(token, "noche") == 0) &&
                      !ret->number[ret->count - 1] && find_day(ret->token[ret->count - 1]));
        for (size_t i = 0; i < sizeof filler / sizeof *filler; i++)
            keep = keep && strcmp(token, filler[i]) != 0;
        for (size_t i = 0; i < sizeof times / sizeof *times; i++) {
            timed = timed || strcmp(token, times[i]) == 0;
            keep = keep && strcmp(token, times[i]) != 0;
        }
        p += n;
        ret->number[ret->count] = number;
        ret->ordinal[ret->count] = number && is_ordinal(p);
        if (ret->ordinal[ret->count])
            p += 2;
        if (strcmp(token, "last") == 0) {
            ret->last = true;
            keep = false;
        }
        ret->count += keep;
    }
    if (ret->count == 0 && timed) /* "this morning", "last evening" */
        snprintf(ret->token[ret->count++], sizeof ret->token[0], "%s",
                 ret->last ? "night" : "today");
    return ret->count > 0;
}

/* ---- one way of saying it each ---- */

static enum answer match_day_word(const struct said *s, int32_t *ret)
{
    int days = 0;
    if (s->last && s->count == 1 && strcmp(s->token[0], "night") == 0) {
        *ret = s->today - 1;
        return MATCH;
    }
    if (s->last)
        return NO_MATCH;
    if (s->count == 3 && strcmp(s->token[0], "day") == 0 && strcmp(s->token[1], "before") == 0 &&
        strcmp(s->token[2], "yesterday") == 0) {
        *ret = s->today - 2;
        return MATCH;
    }
    if (s->count != 1 || !find_word(day_words, s->token[0], &days))
        return NO_MATCH;
    *ret = s->today + days;
    return MATCH;
}

/* "2 days ago", "a week ago", "2 days", "in 3 days" */
static enum answer match_ago(const struct said *s, int32_t *ret)
{
    int first = 0;
    int sign = -1;
    int last = s->count;
    if (s->last)
        return NO_MATCH; /* "last week" is seven days */
    if (strcmp(s->token[0], "hace") == 0) {
        first = 1;
    } else if (strcmp(s->token[0], "in") == 0) {
        sign = 1;
        first = 1;
    } else if (strcmp(s->token[last - 1], "ago") == 0 || strcmp(s->token[last - 1], "back") == 0) {
        last--;
    }
    if (last - first == 3 && strcmp(s->token[first], "a") == 0)
        first++; /* "a couple days" */
    int count = 0;
    int unit = 0;
    if (last - first != 2 || !find_word(unit_words, s->token[first + 1], &unit))
        return NO_MATCH;
    if (s->number[first])
        count = number_of(s->token[first]);
    else if (!find_word(count_words, s->token[first], &count))
        return NO_MATCH;
    if (count < 0 || count > AGO_LIMIT / unit)
        return WRONG;
    *ret = s->today + sign * count * unit;
    return MATCH;
}

static enum answer match_weekday(const struct said *s, int32_t *ret)
{
    if (s->count > 2)
        return NO_MATCH;
    bool next = s->count == 2 && strcmp(s->token[0], "next") == 0;
    int wanted = find_day(s->token[s->count - 1]);
    if (!wanted || (s->count == 2 && !next))
        return NO_MATCH;
    int back = (day_of_week(s->today) - wanted + 7) % 7;
    if (s->last && back == 0)
        back = 7; /* nobody calls today the last one */
    bool ahead = next || s->span == SAID_NEAR;
    *ret = ahead ? s->today + (back ? 7 - back : next ? 7 : 0) : s->today - back;
    return MATCH;
}

/* A year left out: the latest (past) or the nearest (near) such day. */
static enum answer place_year(const struct said *s, int month, int day, int32_t *ret)
{
    int year = 0;
    int unused = 0;
    int32_t best = 0;
    bool found = false;
    day_to_civil(s->today, &year, &unused, &unused);
    for (int y = year - 4; y <= year + 1; y++) {
        if (!day_is_valid(y, month, day))
            continue;
        int32_t candidate = day_from_civil(y, month, day);
        if (s->span == SAID_PAST && candidate > s->today)
            continue;
        if (!found || abs(candidate - s->today) < abs(best - s->today)) {
            best = candidate;
            found = true;
        }
    }
    if (!found)
        return WRONG;
    *ret = best;
    return MATCH;
}

static int full_year(int year, size_t digits)
{
    return digits <= 2 ? 2000 + year : year;
}

static enum answer make(int year, int month, int day, int32_t *ret)
{
    if (year < 1970 || year > 9999 || !day_is_valid(year, month, day))
        return WRONG;
    *ret = day_from_civil(year, month, day);
    return MATCH;
}

/* "nov 19", "19 november 2026", "thu nov 19" */
static enum answer match_month_name(const struct said *s, int32_t *ret)
{
    int month = 0;
    int numbers[2] = {0};
    size_t digits[2] = {0};
    int count = 0;
    for (int i = 0; i < s->count; i++) {
        if (s->number[i]) {
            if (count == 2)
                return NO_MATCH;
            digits[count] = strlen(s->token[i]);
            numbers[count++] = number_of(s->token[i]);
        } else if (find_month(s->token[i])) {
            month = find_month(s->token[i]);
        } else if (!find_day(s->token[i])) {
            return NO_MATCH;
        }
    }
    if (!month || count == 0)
        return NO_MATCH;
    if (count == 1 && digits[0] > 2)
        return WRONG; /* "November 2026" is no day */
    if (count == 1)
        return place_year(s, month, numbers[0], ret);
    if (digits[0] == 4)
        return make(numbers[0], month, numbers[1], ret);
    return make(full_year(numbers[1], digits[1]), month, numbers[0], ret);
}

/* "the 19th": the latest, of a code date the nearest. */
static enum answer match_day_of_month(const struct said *s, int32_t *ret)
{
    int year = 0, month = 0, unused = 0;
    bool found = false;
    int at = s->count == 2 && find_day(s->token[0]); /* "Sunday the 22nd" */
    if (s->count != 1 + at || !s->ordinal[at])
        return NO_MATCH;
    int day = number_of(s->token[at]);
    day_to_civil(s->today, &year, &month, &unused);
    for (int off = -2; off <= 1; off++) {
        int y = year + (month + off < 1 ? -1 : month + off > 12 ? 1 : 0);
        int m = (month + off + 11) % 12 + 1;
        if (!day_is_valid(y, m, day))
            continue;
        int32_t candidate = day_from_civil(y, m, day);
        if (s->span == SAID_PAST && candidate > s->today)
            continue;
        if (!found || abs(candidate - s->today) < abs(*ret - s->today))
            *ret = candidate;
        found = true;
    }
    return found ? MATCH : WRONG;
}

/* 2026-323 and 2026-W47-4: ordinal and week dates, ISO 8601-1:2019, 5.2.3 and 5.2.4 */
static enum answer match_iso(const struct said *s, int32_t *ret)
{
    if (s->count < 2 || !s->number[0] || strlen(s->token[0]) != 4)
        return NO_MATCH;
    int year = number_of(s->token[0]);
    int32_t first = day_from_civil(year, 1, 1);
    if (s->count == 2 && s->number[1] && strlen(s->token[1]) == 3) {
        int ordinal = number_of(s->token[1]);
        *ret = first + ordinal - 1;
        return ordinal >= 1 && *ret < day_from_civil(year + 1, 1, 1) ? MATCH : WRONG;
    }
    if (s->count != 4 || strcmp(s->token[1], "w") != 0 || !s->number[2] || !s->number[3])
        return NO_MATCH;
    int week = number_of(s->token[2]), day = number_of(s->token[3]);
    /* week 1 holds January 4; a year's last week the December 28 */
    int32_t monday = day_from_civil(year, 1, 4) - day_of_week(day_from_civil(year, 1, 4)) + 1;
    *ret = monday + (week - 1) * 7 + day - 1;
    int32_t last = day_from_civil(year, 12, 28);
    return week >= 1 && day >= 1 && day <= 7 && *ret <= last - day_of_week(last) + 7 ? MATCH
                                                                                     : WRONG;
}

/* 2026-11-19, 20261119, 11/19, 11/19/26, 19.11.2026 */
static enum answer match_numbers(const struct said *s, int32_t *ret)
{
    for (int i = 0; i < s->count; i++)
        if (!s->number[i])
            return NO_MATCH;
    int n0 = number_of(s->token[0]);
    if (s->count == 1 && strlen(s->token[0]) == 8)
        return make(n0 / 10000, n0 / 100 % 100, n0 % 100, ret);
    if (s->count < 2 || s->count > 3)
        return WRONG;
    int n1 = number_of(s->token[1]);
    if (s->count == 3 && strlen(s->token[0]) == 4)
        return make(n0, n1, number_of(s->token[2]), ret);
    bool day_first = s->dotted || s->day_first;
    int month = day_first ? n1 : n0;
    int day = day_first ? n0 : n1;
    if (month > 12 && day <= 12) {
        int swap = month;
        month = day;
        day = swap;
    }
    if (s->count == 2)
        return place_year(s, month, day, ret);
    size_t digits = strlen(s->token[2]);
    if (digits != 2 && digits != 4)
        return WRONG;
    return make(full_year(number_of(s->token[2]), digits), month, day, ret);
}

/* In a file: four digits of year and nothing left to guess but the order. */
static bool is_full(const struct said *s)
{
    int numbers = 0;
    int year = 0;
    int named = 0;
    for (int i = 0; i < s->count; i++) {
        numbers += s->number[i];
        year += s->number[i] && (strlen(s->token[i]) == 4 || strlen(s->token[i]) == 8);
        named += !s->number[i] && find_month(s->token[i]) > 0;
    }
    return year == 1 && (numbers + named == 3 || (s->count == 1 && strlen(s->token[0]) == 8));
}

int said_date(const char *text, int32_t today, enum said_span span, int32_t *ret_day,
              struct error *err)
{
    static enum answer (*const ways[])(const struct said *, int32_t *) = {
        match_day_word,     match_ago, match_weekday, match_month_name,
        match_day_of_month, match_iso, match_numbers};
    bool day_first = span & SAID_DAY_FIRST;
    span &= SAID_DAY_FIRST - 1;
    struct said s = {.today = today, .span = span, .day_first = day_first};
    enum answer answer = NO_MATCH;
    int32_t day = 0;
    bool cut_well = cut(text, &s);
    if (span == SAID_FULL && (!cut_well || !is_full(&s)))
        return error_set(err, ERROR_INVALID, "must be a whole date like 2026-11-19");
    for (size_t i = 0; cut_well && i < sizeof ways / sizeof *ways && answer == NO_MATCH; i++)
        answer = ways[i](&s, &day);
    if (answer != MATCH) {
        error_hint(err, "say it like 2026-11-19, %s, Mon, yesterday or 2 days ago",
                   day_first ? "19/11, 19 nov" : "11/19, nov 19");
        return error_set(err, ERROR_INVALID,
                         answer == WRONG ? "there is no such day" : "not understood as a date");
    }
    if (span == SAID_PAST && day > today)
        return error_set(err, ERROR_INVALID, "is in the future");
    *ret_day = day;
    return 0;
}

enum said_order said_date_order(const char *text, bool *ret_dotted)
{
    struct said s = {0};
    *ret_dotted = false;
    if (!cut(text, &s) || s.count != 3 || !s.number[0] || !s.number[1] || !s.number[2] ||
        strlen(s.token[0]) > 2 || strlen(s.token[1]) > 2)
        return SAID_ORDER_NONE;
    *ret_dotted = s.dotted;
    int first = number_of(s.token[0]), second = number_of(s.token[1]);
    bool month = first >= 1 && first <= 12, day = second >= 1 && second <= 12;
    return first == second ? SAID_ORDER_NONE
           : month && day  ? SAID_ORDER_BOTH
           : month         ? SAID_ORDER_MONTH
           : day           ? SAID_ORDER_DAY
                           : SAID_ORDER_NONE;
}

char *said_date_show(int32_t day, int32_t today, char buffer[static SAID_DATE_TEXT])
{
    static const char *const names[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    char date[16];
    char distance[32] = "";
    int days = today - day;
    if (days == 0)
        snprintf(distance, sizeof distance, "today");
    else if (days == 1)
        snprintf(distance, sizeof distance, "yesterday");
    else if (days == -1)
        snprintf(distance, sizeof distance, "tomorrow");
    else if (days > 0)
        snprintf(distance, sizeof distance, "%d days ago", days);
    else
        snprintf(distance, sizeof distance, "in %d days", -days);
    snprintf(buffer, SAID_DATE_TEXT, "%s %s, %s", names[day_of_week(day) - 1],
             day_format(day, date), distance);
    return buffer;
}
