/* Reading rules/lots.json. Every fault is reported with its place; a file with faults gives no
 * matcher. Examples of a pattern are tried while loading, so that a pattern that does not do what
 * its writer meant is found before a caller waits on it. */
#include "lots/lot_rules.h"
#include "base/doc.h"
#include "base/hash.h"
#include "lots/matcher.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- how codes are misread ---- */

#define RATE_ROW(type, member)                                                                     \
    {                                                                                              \
#member, DOC_NUMBER, DOC_AT(type, member), 0, 0.3                                          \
    }

static const struct doc_row QUALITY[] = {
    {"share", DOC_NUMBER, DOC_AT(struct reading_rates, share), 0, 1},
    RATE_ROW(struct reading_rates, confused),
    RATE_ROW(struct reading_rates, other),
    RATE_ROW(struct reading_rates, dropped),
    RATE_ROW(struct reading_rates, doubled),
    RATE_ROW(struct reading_rates, extra),
    RATE_ROW(struct reading_rates, swapped),
    {0}};

static void read_alike(const struct doc_place *place, void *into)
{
    struct alike {
        const char *letters;
        double times;
    } alike = {.times = 1};
    static const struct doc_row ROWS[] = {
        {"letters", DOC_TEXT, DOC_AT(struct alike, letters), .required = true},
        {"times", DOC_NUMBER, DOC_AT(struct alike, times), 0, 20},
        {0}};
    struct doc_place letters = doc_member(place, "letters");
    if (doc_read(place, ROWS, &alike) && !reading_set_alike(into, alike.letters, alike.times))
        doc_fault(&letters, "must be capital letters and digits");
}

/* A list of one's own takes the place of the compiled-in one. */
static void read_alikes(const struct doc_place *place, void *into)
{
    static const struct doc_row LIST = {"alike", DOC_LIST, .high = 200, .each = read_alike};
    struct reading *reading = into;
    memset(reading->alike, 0, sizeof reading->alike);
    doc_value(place, &LIST, reading);
}

static void read_reading(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        {.name = "because"},
        {.name = "source"},
        {"clear", DOC_OBJECT, DOC_AT(struct reading, quality[0]), .rows = QUALITY},
        {"smudged", DOC_OBJECT, DOC_AT(struct reading, quality[1]), .rows = QUALITY},
        RATE_ROW(struct reading, part_missing),
        RATE_ROW(struct reading, head_missing),
        RATE_ROW(struct reading, tail_missing),
        RATE_ROW(struct reading, letter_missing),
        RATE_ROW(struct reading, junk),
        {"alike", DOC_OTHER, .each = read_alikes},
        {0}};
    struct reading *reading = into;
    doc_read(place, ROWS, reading);
    double clear = reading->quality[0].share;
    struct doc_place smudged = doc_member(place, "smudged"), share = doc_member(&smudged, "share");
    if (clear <= 0 || fabs(clear + reading->quality[1].share - 1) > 1e-9)
        doc_fault(&share, "the shares of clear and smudged must sum to 1");
    if (!reading_is_sound(reading))
        doc_fault(place, "some character would be misread more often than not: lower the rates");
}

/* ---- how complaints agree with lots ---- */

#define CHANCE_ROW(member)                                                                         \
    {                                                                                              \
#member, DOC_NUMBER, DOC_AT(struct agreement, member), 1e-6, 0.5                           \
    }
#define CODE_DATE_ROW(member)                                                                      \
    {                                                                                              \
#member, DOC_NUMBER, DOC_AT(struct agreement, member), 0, 0.1                              \
    }

static void read_point(const struct doc_place *place, void *into)
{
    struct point {
        double age, weight;
    } point = {0};
    static const struct doc_row ROWS[] = {
        {"age", DOC_NUMBER, DOC_AT(struct point, age), 0, 1000, .required = true},
        {"weight", DOC_NUMBER, DOC_AT(struct point, weight), 0, 1, .required = true},
        {0}};
    struct agreement *a = into;
    size_t n = place->index;
    if (doc_read(place, ROWS, &point) && n && point.age <= a->reported[n - 1].age)
        doc_fault(place, "ages must grow from point to point");
    a->reported[n].age = point.age;
    a->reported[n].weight = point.weight;
    a->reported_count = n + 1;
}

static void read_agreement(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        {.name = "because"},
        {.name = "source"},
        CHANCE_ROW(unrecorded),
        {"unrecorded_day", DOC_NUMBER, DOC_AT(struct agreement, unrecorded_day), 1e-6, 1},
        {"misread_odds", DOC_NUMBER, DOC_AT(struct agreement, misread_odds), 1, 1e9},
        CHANCE_ROW(wrong_pack),
        CHANCE_ROW(product_wrong),
        CHANCE_ROW(scanned_wrong),
        CHANCE_ROW(store_wrong),
        CHANCE_ROW(bought_wrong),
        CHANCE_ROW(bought_late),
        CHANCE_ROW(found_wrong),
        CODE_DATE_ROW(code_date_day_off),
        CODE_DATE_ROW(code_date_week_off),
        CODE_DATE_ROW(code_date_swapped),
        CODE_DATE_ROW(code_date_year_off),
        {"code_date_wrong", DOC_NUMBER, DOC_AT(struct agreement, code_date_wrong), 1e-6, 0.3},
        {"code_date_spread_days", DOC_NUMBER, DOC_AT(struct agreement, code_date_spread_days), 5,
         400},
        {"reported", DOC_LIST, .low = 2, .high = AGREEMENT_POINTS, .each = read_point},
        {0}};
    struct agreement *a = into;
    struct doc_place late = doc_member(place, "bought_late");
    doc_read(place, ROWS, a);
    if (a->bought_wrong + a->bought_late >= 1)
        doc_fault(&late, "with bought_wrong it must stay below 1");
}

/* ---- patterns ---- */

struct example {
    const char *text, *line, *day, *time, *code;
    int32_t received;
};

static void example_wants(const struct doc_place *example, const char *what, const char *wanted,
                          const char *got)
{
    struct doc_place place = doc_member(example, what);
    if (wanted && strcmp(wanted, got) != 0)
        doc_fault(&place, "the pattern reads '%.60s' here", got);
}

static void try_example(const struct doc_place *place, void *pattern)
{
    static const struct doc_row ROWS[] = {
        {"text", DOC_TEXT, DOC_AT(struct example, text), .required = true},
        {"received", DOC_DAY, DOC_AT(struct example, received), .required = true},
        {"line", DOC_TEXT, DOC_AT(struct example, line)},
        {"day", DOC_TEXT, DOC_AT(struct example, day)},
        {"time", DOC_TEXT, DOC_AT(struct example, time)},
        {"code", DOC_TEXT, DOC_AT(struct example, code)},
        {0}};
    struct example example = {0};
    if (!doc_read(place, ROWS, &example))
        return;
    char day[16] = "", time[16] = "";
    struct code_pattern_reading reading;
    struct error why = {0};
    if (code_pattern_read(pattern, example.text, example.received, &reading, &why) < 0) {
        struct doc_place text = doc_member(place, "text");
        doc_fault(&text, "%s", why.text[0] ? why.text : "the pattern does not fit its own example");
        return;
    }
    if (reading.minute >= 0)
        snprintf(time, sizeof time, "%02d:%02d", reading.minute / 60, reading.minute % 60);
    example_wants(place, "line", example.line, reading.line);
    example_wants(place, "day", example.day, day_format(reading.day, day));
    example_wants(place, "time", example.time, time);
    example_wants(place, "code", example.code, reading.code);
}

struct plant {
    struct lot_matcher *matcher;
    const char *name;
    int day_starts_min;
};

struct written_pattern {
    struct code_pattern_rule rule;
    int day_is;
};

/* The pattern is the matcher's from then on; NULL after a fault. */
static struct code_pattern *make_pattern(const struct doc_place *place,
                                         const struct code_pattern_rule *rule,
                                         struct lot_matcher *matcher)
{
    struct code_pattern *pattern = NULL;
    struct error why = {0};
    if (matcher->pattern_count == MATCHER_PATTERNS) {
        doc_fault(place, "more than %d patterns", MATCHER_PATTERNS);
    } else if (code_pattern_new(rule, &pattern, &why) < 0) {
        struct doc_place member = doc_member(place, why.field[0] ? why.field : "pattern");
        doc_fault_as(&member, &why);
    } else {
        matcher->pattern[matcher->pattern_count++] = pattern;
    }
    return pattern;
}

static void read_pattern(const struct doc_place *place, void *into)
{
    enum { PRODUCTION_DAY, CODE_DATE };
    static const char *const DAY_IS[] = {
        [PRODUCTION_DAY] = "production-day", [CODE_DATE] = "code-date", NULL};
    static const struct doc_row ROWS[] = {
        {"name", DOC_TEXT, DOC_AT(struct written_pattern, rule.name), .required = true},
        {"pattern", DOC_TEXT, DOC_AT(struct written_pattern, rule.expression), .required = true},
        {"code", DOC_TEXT, DOC_AT(struct written_pattern, rule.code), .empty = true},
        {"month_letters", DOC_TEXT, DOC_AT(struct written_pattern, rule.month_letters),
         .empty = true},
        {"effective_from", DOC_DAY, DOC_AT(struct written_pattern, rule.effective_from)},
        {"effective_to", DOC_DAY, DOC_AT(struct written_pattern, rule.effective_to)},
        {"day_is", DOC_WORD, DOC_AT(struct written_pattern, day_is), .words = DAY_IS},
        {"max_age_days", DOC_WHOLE, DOC_AT(struct written_pattern, rule.max_age_days), 1, 4000},
        {.name = "because"},
        {.name = "source"},
        {.name = "examples"},
        {0}};
    static const struct doc_row EXAMPLES = {"examples", DOC_LIST, .high = 50, .each = try_example};
    const struct plant *plant = into;
    struct written_pattern written = {.rule = {.plant = plant->name,
                                               .day_starts_min = plant->day_starts_min,
                                               .effective_from = WHEN_UNKNOWN_DAY,
                                               .effective_to = WHEN_UNKNOWN_DAY,
                                               .max_age_days = 400}};
    if (!doc_read(place, ROWS, &written))
        return;
    written.rule.is_code_date = written.day_is == CODE_DATE;
    struct code_pattern *pattern = make_pattern(place, &written.rule, plant->matcher);
    struct doc_place examples = doc_member(place, "examples");
    if (pattern && examples.value)
        doc_value(&examples, &EXAMPLES, pattern);
}

/* "06:30" → 390 */
static void read_minute(const struct doc_place *place, void *into)
{
    const char *text = json_string_value(place->value);
    bool form = text && strlen(text) == 5 && text[2] == ':' && strspn(text, "0123456789") == 2 &&
                strspn(text + 3, "0123456789") == 2;
    int hours = form ? (text[0] - '0') * 10 + text[1] - '0' : 99;
    int rest = form ? (text[3] - '0') * 10 + text[4] - '0' : 99;
    if (hours < 24 && rest < 60)
        *(int *)into = hours * 60 + rest;
    else
        doc_fault(place, "must be a time of day, HH:MM");
}

static void read_plant(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        {"plant", DOC_TEXT, DOC_AT(struct plant, name), .required = true, .empty = true},
        {.name = "title"},
        {"day_starts", DOC_OTHER, DOC_AT(struct plant, day_starts_min), .each = read_minute},
        {"patterns", DOC_LIST, .high = 50, .each = read_pattern},
        {0}};
    struct plant plant = {.matcher = into, .name = ""};
    doc_read(place, ROWS, &plant);
}

/* ---- the whole file ---- */

static void read_root(struct doc *doc, struct lot_matcher *matcher)
{
    static const struct doc_row DATES[] = {
        {"month_first", DOC_FLAG, DOC_AT(struct lot_matcher, month_first)}, {0}};
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"dates", DOC_OBJECT, .rows = DATES},
        {"reading", DOC_OTHER, DOC_AT(struct lot_matcher, reading), .each = read_reading},
        {"agreement", DOC_OTHER, DOC_AT(struct lot_matcher, agreement), .each = read_agreement},
        {"plants", DOC_LIST, .high = 100, .each = read_plant},
        {0}};
    struct doc_place top = doc_top(doc);
    doc_read(&top, ROWS, matcher);
}

bool lot_rules_month_first(const struct lot_matcher *matcher)
{
    return matcher->month_first;
}

uint64_t lot_rules_mark(const struct lot_matcher *matcher)
{
    return matcher->mark;
}

int lot_rules_load(const char *path, lot_report report, void *arg, struct lot_matcher **ret,
                   struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct lot_matcher *matcher = lot_rules_default();
    if (doc_open(&doc, path, false) == 0)
        read_root(&doc, matcher);
    uint64_t mark = hash_bytes(HASH_EMPTY, doc.text.data, doc.text.length);
    doc_close(&doc);
    if (doc.first.code) {
        lot_rules_free(matcher);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    walk_prepare(&matcher->reading, &matcher->costs);
    matcher->mark = mark;
    *ret = matcher;
    return 0;
}

struct lot_matcher *lot_rules_default(void)
{
    struct lot_matcher *matcher = xcalloc(1, sizeof *matcher);
    reading_defaults(&matcher->reading);
    agreement_defaults(&matcher->agreement);
    walk_prepare(&matcher->reading, &matcher->costs);
    matcher->month_first = true;
    return matcher;
}

void lot_rules_free(struct lot_matcher *matcher)
{
    if (!matcher)
        return;
    for (size_t i = 0; i < matcher->pattern_count; i++)
        code_pattern_free(matcher->pattern[i]);
    free(matcher);
}
