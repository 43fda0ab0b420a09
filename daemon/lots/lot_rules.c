/* Reading rules/lots.json. Every fault is reported with its place; a file with faults gives no
 * matcher. Examples of a pattern are tried while loading, so that a pattern that does not do what
 * its writer meant is found before a caller waits on it. */
#include "lots/lot_rules.h"
#include "base/jsonx.h"
#include "base/text.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FILE_BYTES = 1 << 20 };

static int32_t day_member(struct lot_rules *r, const json_t *object, const char *pointer,
                          const char *name)
{
    char place[LOT_RULES_POINTER];
    int32_t day = WHEN_UNKNOWN_DAY;
    struct error why = {0};
    const char *text = lot_rules_text(r, object, pointer, name, false);
    if (text && day_parse(text, &day, &why) < 0)
        lot_rules_fault(r, lot_rules_at(pointer, name, place), text, &why);
    return day;
}

/* "06:30" → 390 */
static int minute_member(struct lot_rules *r, const json_t *object, const char *pointer,
                         const char *name, int absent)
{
    char place[LOT_RULES_POINTER];
    const char *text = lot_rules_text(r, object, pointer, name, false);
    if (!text)
        return absent;
    bool form = strlen(text) == 5 && text[2] == ':' && strspn(text, "0123456789") == 2 &&
                strspn(text + 3, "0123456789") == 2;
    int hours = form ? (text[0] - '0') * 10 + text[1] - '0' : 99;
    int rest = form ? (text[3] - '0') * 10 + text[4] - '0' : 99;
    if (hours < 24 && rest < 60)
        return hours * 60 + rest;
    lot_rules_say(r, lot_rules_at(pointer, name, place), text, "must be a time of day, HH:MM");
    return absent;
}

/* ---- patterns ---- */

static void example_wants(struct lot_rules *r, const char *pointer, const char *what,
                          const char *wanted, const char *got)
{
    char place[LOT_RULES_POINTER], why[160];
    if (!wanted || !strcmp(wanted, got))
        return;
    snprintf(why, sizeof why, "the pattern reads '%.60s' here", got);
    lot_rules_say(r, lot_rules_at(pointer, what, place), wanted, why);
}

static void try_example(struct lot_rules *r, const struct code_pattern *pattern,
                        const json_t *example, const char *pointer)
{
    static const char *const KNOWN[] = {"text", "received", "line", "day", "time", "code", NULL};
    char place[LOT_RULES_POINTER], day[16] = "", time[16] = "";
    lot_rules_only(r, example, pointer, KNOWN);
    const char *text = lot_rules_text(r, example, pointer, "text", true);
    int32_t received = day_member(r, example, pointer, "received");
    if (!text || received == WHEN_UNKNOWN_DAY) {
        lot_rules_say(r, pointer, NULL, "an example has a text and the day it was received");
        return;
    }
    struct code_pattern_reading reading;
    struct error why = {0};
    if (code_pattern_read(pattern, text, received, &reading, &why) < 0) {
        lot_rules_say(r, lot_rules_at(pointer, "text", place), text,
                      why.text[0] ? why.text : "the pattern does not fit its own example");
        return;
    }
    if (reading.minute >= 0)
        snprintf(time, sizeof time, "%02d:%02d", reading.minute / 60, reading.minute % 60);
    example_wants(r, pointer, "line", json_string_value(json_object_get(example, "line")),
                  reading.line);
    example_wants(r, pointer, "day", json_string_value(json_object_get(example, "day")),
                  day_format(reading.day, day));
    example_wants(r, pointer, "time", json_string_value(json_object_get(example, "time")), time);
    example_wants(r, pointer, "code", json_string_value(json_object_get(example, "code")),
                  reading.code);
}

static void try_examples(struct lot_rules *r, const struct code_pattern *pattern,
                         const json_t *rule, const char *pointer)
{
    char list[LOT_RULES_POINTER], place[LOT_RULES_POINTER];
    const json_t *examples = lot_rules_array(r, rule, pointer, "examples", 50);
    for (size_t i = 0; i < json_array_size(examples); i++) {
        lot_rules_at_index(lot_rules_at(pointer, "examples", list), i, place);
        try_example(r, pattern, json_array_get(examples, i), place);
    }
}

static void read_pattern(struct lot_rules *r, const json_t *rule, const char *pointer,
                         const char *plant, int day_starts_min)
{
    static const char *const KNOWN[] = {
        "name",          "pattern",      "code",    "effective_from", "effective_to", "day_is",
        "month_letters", "max_age_days", "because", "source",         "examples",     NULL};
    char place[LOT_RULES_POINTER];
    lot_rules_only(r, rule, pointer, KNOWN);
    double max_age_days = 400;
    lot_rules_number(r, rule, pointer, "max_age_days", 1, 4000, &max_age_days);
    const char *day_is = lot_rules_text(r, rule, pointer, "day_is", false);
    struct code_pattern_rule p = {
        .plant = plant,
        .name = lot_rules_text(r, rule, pointer, "name", true),
        .expression = lot_rules_text(r, rule, pointer, "pattern", true),
        .code = lot_rules_text(r, rule, pointer, "code", false),
        .month_letters = lot_rules_text(r, rule, pointer, "month_letters", false),
        .effective_from = day_member(r, rule, pointer, "effective_from"),
        .effective_to = day_member(r, rule, pointer, "effective_to"),
        .is_code_date = day_is && !strcmp(day_is, "code-date"),
        .day_starts_min = day_starts_min,
        .max_age_days = (int)max_age_days,
    };
    if (day_is && !p.is_code_date && strcmp(day_is, "production-day") != 0)
        lot_rules_say(r, lot_rules_at(pointer, "day_is", place), day_is,
                      "must be production-day or code-date");
    if (!p.name || !p.expression)
        return;
    struct error why = {0};
    struct code_pattern *pattern = NULL;
    if (code_pattern_new(&p, &pattern, &why) < 0) {
        char field[sizeof why.field];
        memcpy(field, why.field, sizeof field);
        lot_rules_fault(r, lot_rules_at(pointer, *field ? field : "pattern", place), why.value,
                        &why);
        return;
    }
    try_examples(r, pattern, rule, pointer);
    if (r->matcher->pattern_count < MATCHER_PATTERNS) {
        r->matcher->pattern[r->matcher->pattern_count++] = pattern;
        return;
    }
    code_pattern_free(pattern);
    lot_rules_say(r, pointer, NULL, "more patterns than a daemon keeps");
}

static void read_plants(struct lot_rules *r, const json_t *root)
{
    static const char *const KNOWN[] = {"plant", "title", "day_starts", "patterns", NULL};
    const json_t *plants = lot_rules_array(r, root, "", "plants", 100);
    for (size_t i = 0; i < json_array_size(plants); i++) {
        char pointer[LOT_RULES_POINTER], list[LOT_RULES_POINTER], place[LOT_RULES_POINTER];
        const json_t *plant = json_array_get(plants, i);
        lot_rules_at_index("/plants", i, pointer);
        lot_rules_only(r, plant, pointer, KNOWN);
        const char *name = lot_rules_text(r, plant, pointer, "plant", true);
        int starts = minute_member(r, plant, pointer, "day_starts", 0);
        const json_t *patterns = lot_rules_array(r, plant, pointer, "patterns", 50);
        for (size_t k = 0; name && k < json_array_size(patterns); k++) {
            lot_rules_at_index(lot_rules_at(pointer, "patterns", list), k, place);
            read_pattern(r, json_array_get(patterns, k), place, name, starts);
        }
    }
}

/* ---- the whole file ---- */

static int read_text(struct lot_rules *r)
{
    char chunk[8192];
    size_t got;
    FILE *file = fopen(r->path, "re");
    if (!file)
        return error_set(r->err, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%s",
                         strerror(errno));
    while ((got = fread(chunk, 1, sizeof chunk, file)) > 0 && r->text.length <= FILE_BYTES)
        text_append_bytes(&r->text, chunk, got);
    bool failed = ferror(file);
    fclose(file);
    if (failed)
        return error_set(r->err, ERROR_IO, "cannot be read: %s", strerror(errno));
    if (r->text.length > FILE_BYTES)
        return error_set(r->err, ERROR_TOO_LARGE, "a lot rule file over %d bytes", FILE_BYTES);
    return 0;
}

static void read_root(struct lot_rules *r, const json_t *root)
{
    static const char *const KNOWN[] = {"$schema", "note",      "dates", "plants",
                                        "reading", "agreement", NULL};
    static const char *const DATES[] = {"month_first", NULL};
    lot_rules_only(r, root, "", KNOWN);
    const json_t *dates = lot_rules_object(r, root, "", "dates");
    const json_t *month_first = json_object_get(dates, "month_first");
    lot_rules_only(r, dates, "/dates", DATES);
    if (month_first && !json_is_boolean(month_first))
        lot_rules_say(r, "/dates/month_first", NULL, "must be true or false");
    else if (month_first)
        r->matcher->month_first = json_is_true(month_first);
    lot_rules_reading(r, lot_rules_object(r, root, "", "reading"));
    lot_rules_agreement(r, lot_rules_object(r, root, "", "agreement"));
    read_plants(r, root);
}

int lot_matcher_load(const char *path, lot_report report, void *arg, struct lot_matcher **ret,
                     struct error *err)
{
    struct error first = {0};
    json_t *root = NULL;
    struct lot_rules r = {.matcher = lot_matcher_default(),
                          .report = report,
                          .arg = arg,
                          .err = &first,
                          .path = path};
    int rc = read_text(&r);
    if (rc == 0)
        rc = jsonx_parse(r.text.data ? r.text.data : "", r.text.length, &root, &first);
    if (rc < 0) {
        error_at(&first, path, 0, 0);
        if (report)
            report(arg, &first);
    } else {
        if (json_is_object(root))
            read_root(&r, root);
        else
            lot_rules_say(&r, "", NULL, "must be an object");
        rc = r.code;
    }
    json_decref(root);
    text_buffer_free(&r.text);
    if (rc < 0) {
        lot_matcher_free(r.matcher);
        if (err && !err->code)
            *err = first;
        return rc;
    }
    walk_prepare(&r.matcher->reading, &r.matcher->costs);
    *ret = r.matcher;
    return 0;
}

struct lot_matcher *lot_matcher_default(void)
{
    struct lot_matcher *matcher = xcalloc(1, sizeof *matcher);
    reading_defaults(&matcher->reading);
    agreement_defaults(&matcher->agreement);
    walk_prepare(&matcher->reading, &matcher->costs);
    matcher->month_first = true;
    return matcher;
}

void lot_matcher_free(struct lot_matcher *matcher)
{
    if (!matcher)
        return;
    for (size_t i = 0; i < matcher->pattern_count; i++)
        code_pattern_free(matcher->pattern[i]);
    free(matcher);
}
