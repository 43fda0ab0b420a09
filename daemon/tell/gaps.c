#include "tell/gaps.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "stats/robust.h"
#include "store/record_gaps.h"
#include "tell/gaps_late.h"
#include "tell/gaps_told.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    STILL = 12, /* equal values in a row, of a quantity that took other ones before */
    VALUES = 8, /* fewer are no usual */
    WEEK_MS = 7 * 24 * 3600 * 1000
};
static const double DRIFT_Z = 3.5;

/* ---- which lots have which record ---- */

struct listing {
    json_t *rows; /* "kind what plant line" → row */
    const char *week;
};

static int take_gap(void *arg, const struct record_gap *one)
{
    struct listing *l = arg;
    char key[256];
    const char *kind = record_kind_table(one->kind)->kind;
    snprintf(key, sizeof key, "%s\t%s\t%s\t%s", kind, one->what, one->plant, one->line);
    json_t *row = json_object_get(l->rows, key);
    if (!row) {
        row = json_pack("{ss ss ss si si s[]}", "kind", kind, "what", one->what, "line", one->line,
                        "lots", 0, "with", 0, "weeks");
        plant_level_set(row, one->plant);
        json_object_set_new(l->rows, key, row);
    }
    json_array_append_new(json_object_get(row, "weeks"),
                          json_pack("{ss sI sI}", "week", l->week, "with", (json_int_t)one->lots,
                                    "of", (json_int_t)one->of));
    return 0;
}

/* NULL: nothing of it that week. */
static const json_t *week_in(const json_t *row, const char *week)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(row, "weeks"), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "week")), week) == 0)
            return one;
    }
    return NULL;
}

/* Every week in which the line packed, with none where none has it. */
static void complete_row(const json_t *rows, json_t *row)
{
    char key[256];
    size_t i;
    const json_t *one;
    json_int_t lots = 0, with = 0;
    bool is_use = strcmp(json_string_value(json_object_get(row, "kind")),
                         record_kind_table(RECORD_USES)->kind) == 0;
    json_t *weeks = json_array();
    const char *plant = json_string_value(json_object_get(row, "plant"));
    snprintf(key, sizeof key, "lots\t\t%s\t%s", plant ? plant : "",
             json_string_value(json_object_get(row, "line")));
    json_array_foreach(json_object_get(json_object_get(rows, key), "weeks"), i, one)
    {
        const char *week = json_string_value(json_object_get(one, "week"));
        const json_t *own = week_in(row, week);
        json_int_t all = json_integer_value(json_object_get(one, "with"));
        json_int_t has = json_integer_value(json_object_get(own, "with"));
        if (is_use)
            all = json_integer_value(json_object_get(own, "of")); /* of other bread there is none */
        lots += all;
        with += has;
        json_array_append_new(weeks,
                              json_pack("{ss sI sI}", "week", week, "lots", all, "with", has));
    }
    json_object_set_new(row, "weeks_of", weeks);
    json_object_set_new(row, "lots", json_integer(lots));
    json_object_set_new(row, "with", json_integer(with));
    json_object_set_new(row, "share", jsonx_rounded(lots ? (double)with / (double)lots : 0, 4));
}

static int list_records(struct store *store, const struct tz *tz, const struct record_gaps_of *of,
                        json_t **ret, struct error *err)
{
    struct listing l = {.rows = json_object()};
    const char *key;
    json_t *row;
    int rc = 0;
    int32_t day = tz_day(tz, of->packed.from_ms);
    for (; !rc && tz_day_start_ms(tz, day) < of->packed.to_ms; day += 7) {
        char week[16];
        const struct record_gaps_of one = {{tz_day_start_ms(tz, day), tz_day_start_ms(tz, day + 7)},
                                           of->plant};
        l.week = iso_week_format(iso_week_of(day), week);
        rc = record_gaps_list(store, &one, take_gap, &l, err);
    }
    json_object_foreach(l.rows, key, row) complete_row(l.rows, row);
    *ret = json_array();
    json_object_foreach(l.rows, key, row)
    {
        json_object_set(row, "weeks", json_object_get(row, "weeks_of"));
        json_object_del(row, "weeks_of");
        json_array_append(*ret, row);
    }
    json_decref(l.rows);
    return rc;
}

/* ---- values that stand still, values that left their usual ---- */

struct series {
    char plant[LENGTH_CODE + 1], line[64], quantity[64];
    double *values;
    int64_t *at_ms;
    size_t count, capacity;
    int64_t recent_ms; /* from here on it is now */
    const struct tz *tz;
    json_t *still, *drifted;
};

static void judge_still(struct series *s)
{
    size_t run = 1, others = 0;
    char at[40];
    while (run < s->count && s->values[s->count - 1 - run] == s->values[s->count - 1])
        run++;
    for (size_t i = 1; i + run < s->count; i++)
        others += s->values[i] != s->values[i - 1];
    if (run < STILL ||
        others < VALUES) /* one that is always the same, or seldom another, is none */
        return;
    json_t *row = json_pack("{ss ss so sI ss}", "line", s->line, "quantity", s->quantity, "value",
                            jsonx_rounded(s->values[s->count - 1], 6), "times", (json_int_t)run,
                            "since", when_format(s->tz, s->at_ms[s->count - run], at));
    plant_level_set(row, s->plant);
    json_array_append_new(s->still, row);
}

static void judge_drift(struct series *s)
{
    size_t before = 0;
    while (before < s->count && s->at_ms[before] < s->recent_ms)
        before++;
    size_t now = s->count - before;
    if (before < VALUES || now < VALUES)
        return;
    struct robust_scale usual = robust_measure(s->values, before);
    double median = robust_median(s->values + before, now);
    /* of a median of many, what is far is far less than for one value */
    double z = robust_z(median, usual, fabs(usual.median) * 0.01 + 1e-9) * sqrt((double)now) / 2;
    if (fabs(median - usual.median) < usual.deviation || fabs(z) < DRIFT_Z)
        return;
    json_t *row = json_pack("{ss ss so so so}", "line", s->line, "quantity", s->quantity, "usual",
                            jsonx_rounded(usual.median, 4), "now", jsonx_rounded(median, 4), "z",
                            jsonx_rounded(z, 2));
    plant_level_set(row, s->plant);
    json_array_append_new(s->drifted, row);
}

static void end_series(struct series *s)
{
    if (s->count) {
        judge_still(s);
        judge_drift(s);
    }
    s->count = 0;
}

static int take_value(void *arg, const struct record_value *one)
{
    struct series *s = arg;
    if (strcmp(s->plant, one->plant) != 0 || strcmp(s->line, one->line) != 0 ||
        strcmp(s->quantity, one->quantity) != 0) {
        end_series(s);
        snprintf(s->plant, sizeof s->plant, "%s", one->plant);
        snprintf(s->line, sizeof s->line, "%s", one->line);
        snprintf(s->quantity, sizeof s->quantity, "%s", one->quantity);
    }
    if (s->count == s->capacity) {
        s->capacity = s->capacity ? s->capacity * 2 : 1024;
        s->values = xrealloc(s->values, s->capacity * sizeof *s->values);
        s->at_ms = xrealloc(s->at_ms, s->capacity * sizeof *s->at_ms);
    }
    s->values[s->count] = one->value;
    s->at_ms[s->count++] = one->at_ms;
    return 0;
}

static int look_at_values(struct store *store, const struct tz *tz, const struct record_gaps_of *of,
                          json_t *into, struct error *err)
{
    struct series s = {.tz = tz,
                       .recent_ms = of->packed.to_ms - WEEK_MS,
                       .still = json_array(),
                       .drifted = json_array()};
    int rc = record_gaps_values(store, of, take_value, &s, err);
    end_series(&s);
    free(s.values);
    free(s.at_ms);
    json_object_set_new(into, "still", s.still);
    json_object_set_new(into, "drifted", s.drifted);
    return rc;
}

/* ---- all ---- */

/* Of the weeks up to that of the newest lot. */
static int tell_weeks(struct triage *triage, struct store *store, const struct gaps_query *query,
                      int64_t newest_ms, json_t *into, struct error *err)
{
    const struct tz *tz = triage->tz;
    char day[16];
    json_t *records = NULL, *late = NULL;
    int32_t monday = iso_week_monday(iso_week_of(tz_day(tz, newest_ms)));
    int32_t from = monday - 7 * (query->weeks - 1), to = monday + 7;
    const struct record_gaps_of all = {{tz_day_start_ms(tz, from), tz_day_start_ms(tz, to)},
                                       query->plant};
    const struct record_gaps_of until = {{all.packed.from_ms, newest_ms + 1}, query->plant};
    json_object_set_new(into, "from", json_string(day_format(from, day)));
    json_object_set_new(into, "to", json_string(day_format(to - 1, day)));
    int rc = list_records(store, tz, &all, &records, err);
    json_object_set_new(into, "records", records);
    if (rc)
        return rc;
    rc = gaps_late_list(store, tz, &all, &late, err);
    json_object_set_new(into, "late", late);
    if (!rc)
        rc = look_at_values(store, tz, &until, into, err);
    return rc ? rc : gaps_told(triage, store, query, newest_ms - query->cases_ms, into, err);
}

int gaps_tell(struct triage *triage, struct store *store, const struct gaps_query *query,
              json_t **ret, struct error *err)
{
    int64_t newest_ms = WHEN_UNKNOWN_MS;
    json_t *told = json_pack("{sn sn s[] s[] s[] s[] si si s[]}", "from", "to", "records", "late",
                             "still", "drifted", "cases", 0, "months", 0, "tells");
    int rc = record_gaps_newest(store, query->plant, &newest_ms, err);
    if (!rc && newest_ms != WHEN_UNKNOWN_MS)
        rc = tell_weeks(triage, store, query, newest_ms, told, err);
    if (rc)
        json_decref(told);
    else
        *ret = told;
    return rc;
}
