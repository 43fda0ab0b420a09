#define PCRE2_CODE_UNIT_WIDTH 8
#include "lots/code_pattern.h"
#include "base/text.h"
#include "lots/code_date.h"
#include <ctype.h>
#include <pcre2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MATCH_LIMIT = 20000, DEPTH_LIMIT = 500, HEAP_LIMIT_KIB = 256, EXPRESSION_LIMIT = 1000 };

enum group {
    GROUP_LINE,
    GROUP_SHIFT,
    GROUP_PRODUCT,
    GROUP_PLANT,
    GROUP_SERIAL,
    GROUP_YYYY,
    GROUP_YY,
    GROUP_Y,
    GROUP_DOY,
    GROUP_MM,
    GROUP_DD,
    GROUP_M,
    GROUP_HHMM,
    GROUP_HH,
    GROUP_MI,
    GROUPS
};

/* digits: 0 a word; variety: how many values it takes on packs that are on sale, about (a
 * plant's lines and shifts; days within reach are counted once, in code_pattern_read()). */
static const struct {
    const char *name;
    size_t digits;
    double variety;
} GROUP[GROUPS] = {
    [GROUP_LINE] = {"line", 0, 5},
    [GROUP_SHIFT] = {"shift", 0, 3},
    [GROUP_PRODUCT] = {"product", 0, 20},
    [GROUP_PLANT] = {"plant", 0, 3},
    [GROUP_SERIAL] = {"serial", 0, 100},
    [GROUP_YYYY] = {"yyyy", 4, 1},
    [GROUP_YY] = {"yy", 2, 1},
    [GROUP_Y] = {"y", 1, 1},
    [GROUP_DOY] = {"doy", 3, 1},
    [GROUP_MM] = {"mm", 2, 1},
    [GROUP_DD] = {"dd", 2, 1},
    [GROUP_M] = {"m", 0, 1},
    [GROUP_HHMM] = {"hhmm", 4, 1440},
    [GROUP_HH] = {"hh", 2, 24},
    [GROUP_MI] = {"mi", 2, 60},
};

struct code_pattern {
    char *plant, *name, *code, *month_letters;
    int32_t effective_from, effective_to;
    bool is_code_date;
    int day_starts_min, max_age_days;
    pcre2_code *compiled;
    pcre2_match_context *limits;
    int number[GROUPS]; /* of the named group, -1: not in this expression */
};

struct words {
    char word[GROUPS][CODE_PATTERN_WORD]; /* "" if the group took no part */
    size_t from[GROUPS];                  /* where in the text */
};

static int refuse(struct error *err, const char *field, const char *value, const char *why)
{
    int code = error_set(err, ERROR_INVALID, "%s", why);
    error_field(err, field, value);
    return code;
}

static int group_of(const char *name, size_t length)
{
    for (int g = 0; g < GROUPS; g++)
        if (strlen(GROUP[g].name) == length && !strncmp(GROUP[g].name, name, length))
            return g;
    return -1;
}

/* Within its limits? */
static bool ends_in_time(const struct code_pattern *p, const char *text, size_t length)
{
    static const uint32_t HOW[] = {PCRE2_ANCHORED | PCRE2_ENDANCHORED, 0};
    pcre2_match_data *data = pcre2_match_data_create_from_pattern(p->compiled, NULL);
    bool ends = data != NULL;
    for (size_t i = 0; ends && i < sizeof HOW / sizeof HOW[0]; i++) {
        int rc = pcre2_match(p->compiled, (PCRE2_SPTR)text, length, 0, HOW[i], data, p->limits);
        ends = rc >= 0 || rc == PCRE2_ERROR_NOMATCH;
    }
    pcre2_match_data_free(data);
    return ends;
}

/* What is repeated within a repetition ("([0-9]+ ?)+") takes for ever on a text that nearly fits:
 * said when the rules are checked, not when somebody types such a code. */
static int try_out(const struct code_pattern *p, const char *expression, struct error *err)
{
    enum { LONG = 48 };
    static const char *const OF[] = {"A", "a", "0", "1", " ", "A0", "0 ", "L1 ", "-", "B-"};
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        char text[LONG + 1];
        size_t length = strlen(OF[i]);
        for (size_t at = 0; at < LONG; at++)
            text[at] = OF[i][at % length];
        text[LONG - 1] = '!';
        text[LONG] = '\0';
        if (ends_in_time(p, text, LONG))
            continue;
        error_hint(err, "repeat nothing that holds a repetition: \"[0-9 ]+\", not \"([0-9]+ ?)+\"");
        return refuse(err, "pattern", expression,
                      "takes too long on a text that nearly fits: what is repeated within a "
                      "repetition is tried in every way");
    }
    return 0;
}

static int compile(struct code_pattern *p, const char *expression, struct error *err)
{
    int code;
    PCRE2_SIZE at;
    pcre2_compile_context *context = pcre2_compile_context_create(NULL);
    if (!context)
        return error_set(err, ERROR_MEMORY, "no memory for a pattern");
    pcre2_set_max_pattern_length(context, EXPRESSION_LIMIT);
    pcre2_set_parens_nest_limit(context, 20);
    p->compiled = pcre2_compile((PCRE2_SPTR)expression, PCRE2_ZERO_TERMINATED,
                                PCRE2_NEVER_BACKSLASH_C, &code, &at, context);
    pcre2_compile_context_free(context);
    if (!p->compiled) {
        PCRE2_UCHAR why[160];
        pcre2_get_error_message(code, why, sizeof why);
        error_set(err, ERROR_INVALID, "%s at character %zu of the expression", (const char *)why,
                  at + 1);
        error_field(err, "pattern", expression);
        error_at(err, NULL, 0, (long)at + 1);
        return ERROR_INVALID;
    }
    p->limits = pcre2_match_context_create(NULL);
    if (!p->limits)
        return error_set(err, ERROR_MEMORY, "no memory for a pattern");
    pcre2_set_match_limit(p->limits, MATCH_LIMIT);
    pcre2_set_depth_limit(p->limits, DEPTH_LIMIT);
    pcre2_set_heap_limit(p->limits, HEAP_LIMIT_KIB);
    return try_out(p, expression, err);
}

/* Group names of the expression, each known and used once. */
static int name_groups(struct code_pattern *p, struct error *err)
{
    uint32_t count = 0, entry_size = 0;
    PCRE2_SPTR table = NULL;
    pcre2_pattern_info(p->compiled, PCRE2_INFO_NAMECOUNT, &count);
    pcre2_pattern_info(p->compiled, PCRE2_INFO_NAMEENTRYSIZE, &entry_size);
    if (count)
        pcre2_pattern_info(p->compiled, PCRE2_INFO_NAMETABLE, &table);
    for (int g = 0; g < GROUPS; g++)
        p->number[g] = -1;
    for (uint32_t i = 0; i < count; i++, table += entry_size) {
        const char *name = (const char *)table + 2;
        int g = group_of(name, strlen(name));
        if (g < 0)
            return refuse(err, "pattern", name,
                          "a group name with no meaning here (known: line shift product plant "
                          "serial yyyy yy y doy mm dd m hhmm hh mi)");
        p->number[g] = table[0] << 8 | table[1];
    }
    bool day = p->number[GROUP_DOY] >= 0 ||
               (p->number[GROUP_DD] >= 0 && (p->number[GROUP_MM] >= 0 || p->number[GROUP_M] >= 0));
    if (!day)
        return refuse(err, "pattern", "", "no groups that give a day (doy, or dd with mm or m)");
    if (p->number[GROUP_M] >= 0 && !p->month_letters)
        return refuse(err, "month_letters", "", "group m needs month_letters");
    return 0;
}

static int check_template(const struct code_pattern *p, struct error *err)
{
    for (const char *s = p->code; s && *s; s++) {
        if (*s != '{')
            continue;
        size_t length = strcspn(s + 1, "}");
        int g = group_of(s + 1, length);
        if (g < 0 || p->number[g] < 0 || s[1 + length] != '}')
            return refuse(err, "code", s, "the template names a group that the pattern has not");
        s += length + 1;
    }
    return 0;
}

int code_pattern_new(const struct code_pattern_rule *rule, struct code_pattern **ret,
                     struct error *err)
{
    struct code_pattern *p = xcalloc(1, sizeof *p);
    p->plant = xstrdup(rule->plant ? rule->plant : "");
    p->name = xstrdup(rule->name ? rule->name : "");
    p->code = rule->code ? xstrdup(rule->code) : NULL;
    p->month_letters = rule->month_letters ? xstrdup(rule->month_letters) : NULL;
    p->effective_from = rule->effective_from;
    p->effective_to = rule->effective_to;
    p->is_code_date = rule->is_code_date;
    p->day_starts_min = rule->day_starts_min;
    p->max_age_days = rule->max_age_days;
    int rc = 0;
    if (p->month_letters && strlen(p->month_letters) != 12)
        rc = refuse(err, "month_letters", p->month_letters,
                    "twelve letters are wanted, January first");
    if (rc == 0)
        rc = compile(p, rule->expression, err);
    if (rc == 0)
        rc = name_groups(p, err);
    if (rc == 0)
        rc = check_template(p, err);
    if (rc < 0) {
        code_pattern_free(p);
        return rc;
    }
    *ret = p;
    return 0;
}

void code_pattern_free(struct code_pattern *pattern)
{
    if (!pattern)
        return;
    free(pattern->plant);
    free(pattern->name);
    free(pattern->code);
    free(pattern->month_letters);
    pcre2_code_free(pattern->compiled);
    pcre2_match_context_free(pattern->limits);
    free(pattern);
}

const char *code_pattern_plant(const struct code_pattern *pattern)
{
    return pattern->plant;
}

static bool stands_alone(const char *text, size_t from, size_t to)
{
    return (from == 0 || !isalnum((unsigned char)text[from - 1])) &&
           (!text[to] || !isalnum((unsigned char)text[to]));
}

/* `count`: groups that took part, negative if nothing matched. */
static int copy_groups(const struct code_pattern *p, const char *text, const PCRE2_SIZE *place,
                       int count, struct words *words, struct code_pattern_reading *reading)
{
    if (count < 0 || place[0] >= place[1] || !stands_alone(text, place[0], place[1]))
        return ERROR_NOT_FOUND;
    for (size_t g = 0; g < GROUPS; g++) {
        if (p->number[g] < 0 || p->number[g] >= count)
            continue;
        const PCRE2_SIZE *group = place + 2 * (size_t)p->number[g];
        if (group[0] == PCRE2_UNSET)
            continue;
        size_t size = group[1] - group[0];
        if (size >= CODE_PATTERN_WORD)
            return ERROR_NOT_FOUND;
        snprintf(words->word[g], CODE_PATTERN_WORD, "%.*s", (int)size, text + group[0]);
        words->from[g] = group[0];
    }
    reading->from = place[0];
    reading->to = place[1];
    return 0;
}

/* Matches as a whole, else anywhere; copies the groups out. */
static int match(const struct code_pattern *p, const char *text, struct words *words,
                 struct code_pattern_reading *reading, struct error *err)
{
    pcre2_match_data *data = pcre2_match_data_create_from_pattern(p->compiled, NULL);
    if (!data)
        return error_set(err, ERROR_MEMORY, "no memory for a match");
    PCRE2_SPTR subject = (PCRE2_SPTR)text;
    size_t length = strlen(text);
    reading->whole = true;
    int rc = pcre2_match(p->compiled, subject, length, 0, PCRE2_ANCHORED | PCRE2_ENDANCHORED, data,
                         p->limits);
    if (rc == PCRE2_ERROR_NOMATCH) {
        reading->whole = false;
        rc = pcre2_match(p->compiled, subject, length, 0, 0, data, p->limits);
    }
    int code;
    if (rc < 0 && rc != PCRE2_ERROR_NOMATCH)
        code = error_set(err, ERROR_TOO_LARGE, "the lot pattern '%s' takes too long on this text",
                         p->name);
    else
        code = copy_groups(p, text, pcre2_get_ovector_pointer(data), rc, words, reading);
    pcre2_match_data_free(data);
    return code;
}

/* CODE_DATE_NONE: not there; -2: not so many digits */
static int number(const struct words *words, enum group g)
{
    const char *word = words->word[g];
    if (!*word)
        return CODE_DATE_NONE;
    if (strspn(word, "0123456789") != strlen(word) || strlen(word) != GROUP[g].digits)
        return -2;
    return (int)strtol(word, NULL, 10);
}

/* The latest such day that is not after `latest`, and not more than `max_age` days before it. */
static bool read_day_by(const struct code_pattern *p, const struct words *words, int32_t latest,
                        int max_age, int32_t *ret_day)
{
    struct code_date date = {.period = 1,
                             .day_of_year = number(words, GROUP_DOY),
                             .month = number(words, GROUP_MM),
                             .day = number(words, GROUP_DD)};
    static const struct {
        enum group group;
        int period;
    } YEARS[] = {{GROUP_YYYY, 10000}, {GROUP_YY, 100}, {GROUP_Y, 10}};
    for (size_t i = 0; i < sizeof YEARS / sizeof YEARS[0] && date.period == 1; i++)
        if (words->word[YEARS[i].group][0]) {
            date.year = number(words, YEARS[i].group);
            date.period = YEARS[i].period;
        }
    const char *letter = words->word[GROUP_M];
    if (*letter && p->month_letters) {
        const char *at = strchr(p->month_letters, *letter);
        date.month = at ? (int)(at - p->month_letters) + 1 : -2;
    }
    return code_date_latest(&date, latest, max_age, ret_day);
}

/* A code date may lie ahead of the complaint by the longest shelf life. */
static bool read_day(const struct code_pattern *p, const struct words *words, int32_t received_day,
                     int32_t *ret_day)
{
    int32_t latest = received_day + (p->is_code_date ? p->max_age_days : 0);
    return read_day_by(p, words, latest, p->is_code_date ? 2 * p->max_age_days : p->max_age_days,
                       ret_day);
}

/* A day of packing that has not come yet: the code reads whole all the same, and is told so. Where
 * no year is printed there is always one before. */
static bool read_day_to_come(const struct code_pattern *p, const struct words *words,
                             int32_t received_day, int32_t *ret_day)
{
    return !p->is_code_date &&
           read_day_by(p, words, received_day + p->max_age_days, p->max_age_days, ret_day);
}

static bool read_time(const struct words *words, int *ret_minute)
{
    *ret_minute = -1;
    int hhmm = number(words, GROUP_HHMM), hh = number(words, GROUP_HH),
        mi = number(words, GROUP_MI);
    if (hhmm == -2 || hh == -2 || mi == -2)
        return false;
    if (hhmm >= 0) {
        hh = hhmm / 100;
        mi = hhmm % 100;
    }
    if (hh < 0)
        return true;
    if (hh > 23 || mi > 59)
        return false;
    *ret_minute = hh * 60 + (mi < 0 ? 0 : mi);
    return true;
}

static void render(const struct code_pattern *p, const struct words *words,
                   char out[CODE_PATTERN_CODE])
{
    size_t at = 0;
    for (const char *s = p->code ? p->code : ""; *s && at + 1 < CODE_PATTERN_CODE; s++) {
        if (*s != '{') {
            out[at++] = *s;
            continue;
        }
        size_t length = strcspn(s + 1, "}");
        const char *word = words->word[group_of(s + 1, length)];
        for (; *word && at + 1 < CODE_PATTERN_CODE; word++)
            out[at++] = *word;
        s += length + 1;
    }
    out[at] = '\0';
}

bool code_pattern_holds_time(const struct code_pattern *p)
{
    return p->number[GROUP_HHMM] >= 0 || p->number[GROUP_HH] >= 0;
}

double code_pattern_alternatives(const struct code_pattern *p)
{
    double product = CODE_PATTERN_DAYS;
    for (int g = 0; g < GROUPS; g++)
        if (p->number[g] >= 0)
            product *= GROUP[g].variety;
    return product;
}

/* Of a day that was not found in any year it could be of: whether it is because of the day. The
 * last of a leap year, and of its February, is there in some years: not in those, or it had been
 * found. */
static bool is_no_day(const struct words *words, char wrong[static CODE_PATTERN_WORD])
{
    static const int LONG[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int doy = number(words, GROUP_DOY), month = number(words, GROUP_MM),
        day = number(words, GROUP_DD);
    bool no_month = month == 0 || month > 12;
    if (doy == 0 || doy > 365)
        snprintf(wrong, CODE_PATTERN_WORD, "day %.8s", words->word[GROUP_DOY]);
    else if (no_month)
        snprintf(wrong, CODE_PATTERN_WORD, "month %.8s", words->word[GROUP_MM]);
    else if (day == 0 || day > (month > 0 ? LONG[month - 1] : 31))
        snprintf(wrong, CODE_PATTERN_WORD, "day %.8s%s%.8s", words->word[GROUP_DD],
                 month > 0 ? " of month " : "", words->word[GROUP_MM]);
    return *wrong != '\0';
}

/* Every digit is there, and together they are none. */
static int refuse_reading(const struct words *words, const struct code_pattern_reading *reading,
                          struct code_pattern_reading *ret)
{
    char wrong[CODE_PATTERN_WORD] = "";
    int minute;
    if (!reading->whole)
        return ERROR_NOT_FOUND;
    bool day_is_there = reading->day != WHEN_UNKNOWN_DAY;
    if ((day_is_there || !is_no_day(words, wrong)) && !read_time(words, &minute))
        snprintf(wrong, sizeof wrong, "time %.8s%.8s%.8s", words->word[GROUP_HHMM],
                 words->word[GROUP_HH], words->word[GROUP_MI]);
    if (!*wrong)
        return ERROR_NOT_FOUND;
    memcpy(ret->wrong, wrong, sizeof ret->wrong);
    return ERROR_INVALID;
}

int code_pattern_read(const struct code_pattern *p, const char *text, int32_t received_day,
                      struct code_pattern_reading *ret, struct error *err)
{
    struct words words = {0};
    struct code_pattern_reading reading = {
        .day = WHEN_UNKNOWN_DAY, .minute = -1, .is_code_date = p->is_code_date};
    if (strlen(text) >= CODE_PATTERN_TEXT)
        return ERROR_NOT_FOUND;
    int rc = match(p, text, &words, &reading, err);
    if (rc < 0)
        return rc;
    if (!read_day(p, &words, received_day, &reading.day) &&
        !read_day_to_come(p, &words, received_day, &reading.day))
        return refuse_reading(&words, &reading, ret);
    if (!read_time(&words, &reading.minute))
        return refuse_reading(&words, &reading, ret);
    if ((p->effective_from != WHEN_UNKNOWN_DAY && reading.day < p->effective_from) ||
        (p->effective_to != WHEN_UNKNOWN_DAY && reading.day > p->effective_to))
        return ERROR_NOT_FOUND;
    reading.next_morning = reading.minute >= 0 && reading.minute < p->day_starts_min;
    snprintf(reading.pattern, sizeof reading.pattern, "%s", p->name);
    const char *plant = words.word[GROUP_PLANT];
    snprintf(reading.plant, sizeof reading.plant, "%s", *plant ? plant : p->plant);
    memcpy(reading.line, words.word[GROUP_LINE], CODE_PATTERN_WORD);
    memcpy(reading.shift, words.word[GROUP_SHIFT], CODE_PATTERN_WORD);
    memcpy(reading.product, words.word[GROUP_PRODUCT], CODE_PATTERN_WORD);
    memcpy(reading.serial, words.word[GROUP_SERIAL], CODE_PATTERN_WORD);
    render(p, &words, reading.code);
    reading.alternatives = code_pattern_alternatives(p);
    *ret = reading;
    return 0;
}

/* Writes a day over the groups that give one. */
static void write_day(const struct code_pattern *p, const struct words *words, int32_t day,
                      char *code)
{
    int year, month, day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    const struct {
        enum group group;
        int digits, value;
    } PARTS[] = {{GROUP_YYYY, 4, year},       {GROUP_YY, 2, year % 100},
                 {GROUP_Y, 1, year % 10},     {GROUP_MM, 2, month},
                 {GROUP_DD, 2, day_of_month}, {GROUP_DOY, 3, day_of_year(day)}};
    for (size_t i = 0; i < sizeof PARTS / sizeof PARTS[0]; i++) {
        char digits[16];
        int length = snprintf(digits, sizeof digits, "%0*d", PARTS[i].digits, PARTS[i].value);
        if (words->word[PARTS[i].group][0])
            memcpy(code + words->from[PARTS[i].group], digits, (size_t)length);
    }
    if (words->word[GROUP_M][0] && p->month_letters)
        code[words->from[GROUP_M]] = p->month_letters[month - 1];
}

bool code_pattern_later(const struct code_pattern *p, const char *code, int32_t received_day,
                        int days, char out[static CODE_PATTERN_CODE])
{
    struct words words = {0};
    struct code_pattern_reading reading = {0};
    int32_t day;
    if (strlen(code) >= CODE_PATTERN_CODE || match(p, code, &words, &reading, NULL) < 0 ||
        !reading.whole || !read_day(p, &words, received_day, &day))
        return false;
    memcpy(out, code, strlen(code) + 1);
    write_day(p, &words, day + days, out);
    return true;
}

int64_t code_pattern_instant_ms(const struct code_pattern_reading *reading, const struct tz *tz)
{
    if (reading->day == WHEN_UNKNOWN_DAY)
        return WHEN_UNKNOWN_MS;
    if (reading->minute < 0)
        return tz_day_start_ms(tz, reading->day);
    return tz_instant_ms(tz, reading->day + reading->next_morning, reading->minute);
}
