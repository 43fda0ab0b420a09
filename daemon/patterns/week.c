#include "patterns/week.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "stats/poisson.h"
#include "store/pattern.h"
#include "triage/triage.h"
#include <stdlib.h>
#include <string.h>

static const char *const SYMPTOMS[] = {"mold", "off-odor", "staling"};
static const char *const FACTORS[] = {"line", "product", "cause", "place", "route", "shift"};
enum { SYMPTOM_COUNT = 3, FACTOR_COUNT = 6 };

struct tally {
    char factor[16], level[80];
    double units, counts[SYMPTOM_COUNT];
};

struct week {
    struct triage *triage;
    struct tally *tallies;
    size_t count, capacity;
};

static int symptom_index(const char *symptom)
{
    for (int i = 0; i < SYMPTOM_COUNT; i++) {
        if (strcmp(SYMPTOMS[i], symptom) == 0)
            return i;
    }
    return -1;
}

static struct tally *week_tally(struct week *w, const char *factor, const char *level)
{
    for (size_t i = 0; i < w->count; i++) {
        if (strcmp(w->tallies[i].factor, factor) == 0 && strcmp(w->tallies[i].level, level) == 0)
            return &w->tallies[i];
    }
    if (w->count == w->capacity) {
        w->capacity = w->capacity ? w->capacity * 2 : 64;
        w->tallies = xrealloc(w->tallies, w->capacity * sizeof *w->tallies);
    }
    struct tally *t = &w->tallies[w->count++];
    *t = (struct tally){0};
    text_clip(factor, t->factor, sizeof t->factor);
    text_clip(level, t->level, sizeof t->level);
    return t;
}

static int add_received(void *arg, const struct pattern_row *row)
{
    int s = symptom_index(row->symptom);
    if (s >= 0)
        week_tally(arg, row->factor, row->level)->counts[s] += (double)row->count;
    return 0;
}

static int add_packed(void *arg, const struct pattern_row *row)
{
    week_tally(arg, row->factor, row->level)->units += (double)row->count;
    return 0;
}

static void add_cause(struct week *w, int symptom, const char *cause, double expected)
{
    static const char CONTAMINATION[] = "contamination-";
    week_tally(w, "cause", cause)->counts[symptom] += expected;
    if (strncmp(cause, CONTAMINATION, sizeof CONTAMINATION - 1) == 0)
        week_tally(w, "place", cause + sizeof CONTAMINATION - 1)->counts[symptom] += expected;
}

static int add_case(void *arg, const struct pattern_case *row)
{
    struct week *w = arg;
    int s = symptom_index(row->symptom);
    json_t *body = NULL;
    if (s < 0)
        return 0;
    if (*row->verdict) {
        add_cause(w, s, row->verdict, (double)row->complaints);
    } else if (jsonx_parse(row->ranking, strlen(row->ranking), &body, NULL) == 0) {
        size_t i;
        json_t *cause;
        json_array_foreach(json_object_get(body, "ranked"), i, cause) add_cause(
            w, s, json_string_value(json_object_get(cause, "cause")),
            (double)row->complaints * json_number_value(json_object_get(cause, "probability")));
    }
    json_decref(body);
    return 0;
}

static json_t *rate_json(const struct tally *t, int symptom, double units)
{
    json_t *row = json_pack("{s:s, s:s, s:f, s:f}", "level", t->level, "symptom", SYMPTOMS[symptom],
                            "complaints", t->counts[symptom], "units", units);
    if (units > 0) {
        struct interval limits = poisson_limits(t->counts[symptom], 0.95);
        double scale = 1e6 / units;
        json_object_set_new(row, "per_million", json_real(t->counts[symptom] * scale));
        json_object_set_new(row, "low", json_real(limits.low * scale));
        json_object_set_new(row, "high", json_real(limits.high * scale));
    }
    return row;
}

static json_t *rates_json(const struct week *w, const char *factor, double all_units)
{
    json_t *rows = json_array();
    bool own_units = strcmp(factor, "cause") != 0 && strcmp(factor, "place") != 0;
    for (size_t i = 0; i < w->count; i++) {
        const struct tally *t = &w->tallies[i];
        for (int s = 0; s < SYMPTOM_COUNT && strcmp(t->factor, factor) == 0; s++) {
            if (t->counts[s] > 0 || (own_units && t->units > 0))
                json_array_append_new(rows, rate_json(t, s, own_units ? t->units : all_units));
        }
    }
    return rows;
}

static json_t *causes_json(const struct week *w)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < w->count; i++) {
        const struct tally *t = &w->tallies[i];
        const char *title = w->triage ? triage_cause_title(w->triage, t->level) : NULL;
        for (int s = 0; s < SYMPTOM_COUNT && strcmp(t->factor, "cause") == 0; s++) {
            if (t->counts[s] > 0)
                json_array_append_new(rows, json_pack("{s:s, s:s, s:s, s:f}", "cause", t->level,
                                                      "title", title ? title : t->level, "symptom",
                                                      SYMPTOMS[s], "expected", t->counts[s]));
        }
    }
    return rows;
}

static json_t *week_json(struct week *w, struct iso_week week)
{
    char name[16];
    const struct tally all = *week_tally(w, "", "");
    json_t *complaints = json_object(), *by = json_object();
    for (int s = 0; s < SYMPTOM_COUNT; s++)
        json_object_set_new(complaints, SYMPTOMS[s], json_integer((json_int_t)all.counts[s]));
    for (int f = 0; f < FACTOR_COUNT; f++)
        json_object_set_new(by, FACTORS[f], rates_json(w, FACTORS[f], all.units));
    return json_pack("{s:s, s:o, s:I, s:o, s:o, s:[], s:[]}", "week", iso_week_format(week, name),
                     "complaints", complaints, "units", (json_int_t)all.units, "by", by, "causes",
                     causes_json(w), "to_come", "signals");
}

int week_report(struct store *store, const struct tz *tz, struct triage *triage,
                struct iso_week week, int64_t now_ms, json_t **ret, struct error *err)
{
    struct week w = {.triage = triage};
    int64_t from_ms = tz_day_start_ms(tz, iso_week_monday(week));
    int64_t to_ms = tz_day_start_ms(tz, iso_week_monday(week) + 7);
    if (to_ms > now_ms)
        to_ms = now_ms;
    int rc = pattern_received(store, from_ms, to_ms, add_received, &w, err);
    if (!rc)
        rc = pattern_packed(store, from_ms, to_ms, add_packed, &w, err);
    if (!rc)
        rc = pattern_cases(store, from_ms, to_ms, add_case, &w, err);
    if (!rc)
        *ret = week_json(&w, week);
    free(w.tallies);
    return rc;
}
