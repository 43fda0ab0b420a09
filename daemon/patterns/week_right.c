#include "patterns/week_right.h"
#include "base/text.h"
#include "stats/proportion.h"
#include "stats/robust.h"
#include "store/pattern.h"
#include <math.h>
#include <stdlib.h>

enum { QUARTER_WEEKS = 13 };

/* A confirmed cause that was given nothing: what a place behind all others is worth. */
#define PROBABILITY_LEAST 1e-4

struct tally {
    int64_t verdicts, ranked, top1, top3;
    double log_sum, brier_sum;
    double *days;
    size_t count, capacity;
};

static int add_verdict(void *arg, const struct pattern_verdict *row)
{
    struct tally *t = arg;
    if (t->count == t->capacity) {
        t->capacity = t->capacity ? t->capacity * 2 : 64;
        t->days = xrealloc(t->days, t->capacity * sizeof *t->days);
    }
    t->days[t->count++] = (double)(row->at_ms - row->opened_ms) / (double)WHEN_DAY_MS;
    t->verdicts++;
    if (row->place < 1)
        return 0;
    t->ranked++;
    t->top1 += row->place == 1;
    t->top3 += row->place <= 3;
    t->log_sum -= log(fmax(row->probability, PROBABILITY_LEAST));
    t->brier_sum += row->brier;
    return 0;
}

struct share_names {
    const char *share, *range;
};

static void add_share(json_t *out, struct share_names names, int64_t x, int64_t n)
{
    struct interval limits = proportion_wilson((double)x, (double)n, 0.95);
    json_object_set_new(out, names.share, json_real((double)x / (double)n));
    json_object_set_new(out, names.range,
                        json_pack("{s:f, s:f}", "low", limits.low, "high", limits.high));
}

static json_t *tally_json(struct tally *t)
{
    json_t *out = json_pack("{s:I, s:I}", "verdicts", (json_int_t)t->verdicts, "ranked",
                            (json_int_t)t->ranked);
    if (t->ranked) {
        double n = (double)t->ranked;
        add_share(out, (struct share_names){"top1", "top1_range"}, t->top1, t->ranked);
        add_share(out, (struct share_names){"top3", "top3_range"}, t->top3, t->ranked);
        json_object_set_new(out, "log_score", json_real(t->log_sum / n));
        json_object_set_new(out, "brier", json_real(t->brier_sum / n));
    }
    if (t->count) {
        json_object_set_new(out, "days_to_verdict",
                            json_pack("{s:f, s:f}", "median",
                                      robust_quantile(t->days, t->count, 0.5), "most",
                                      robust_quantile(t->days, t->count, 0.9)));
    }
    free(t->days);
    return out;
}

static int read_tally(struct store *store, const struct week_data *data, struct when_span span,
                      json_t **ret, struct error *err)
{
    struct tally t = {0};
    int rc = pattern_verdicts(store, when_span_until(span, data->now_ms), data->plant, add_verdict,
                              &t, err);
    if (rc) {
        free(t.days);
        return rc;
    }
    *ret = tally_json(&t);
    return 0;
}

/* ---- open cases ---- */

static const struct {
    const char *name;
    int weeks; /* younger than this */
} AGES[] = {
    {"this week or last", 2}, {"2 to 4 weeks", 5}, {"5 to 12 weeks", 13}, {"older", 1 << 30}};
enum { AGE_COUNT = sizeof AGES / sizeof AGES[0] };

struct open_cases {
    int now_week;
    int64_t count[AGE_COUNT][WEEK_SYMPTOMS + 1]; /* the last of other things */
};

static int add_open(void *arg, const char *symptom, int opened_week, int64_t n)
{
    struct open_cases *open = arg;
    int s = symptom_of(symptom), age = open->now_week - opened_week;
    s = s < 0 ? WEEK_SYMPTOMS : s;
    for (int i = 0; i < AGE_COUNT; i++) {
        if (age < AGES[i].weeks) {
            open->count[i][s] += n;
            break;
        }
    }
    return 0;
}

static json_t *open_json(const struct open_cases *open)
{
    json_t *rows = json_array();
    for (int i = 0; i < AGE_COUNT; i++) {
        json_t *row = json_pack("{s:s}", "age", AGES[i].name);
        int64_t other = open->count[i][WEEK_SYMPTOMS], all = other;
        for (int s = 0; s < WEEK_SYMPTOMS; s++) {
            json_object_set_new(row, symptom_name(s), json_integer(open->count[i][s]));
            all += open->count[i][s];
        }
        json_object_set_new(row, "other", json_integer(other));
        json_object_set_new(row, "cases", json_integer(all));
        json_array_append_new(rows, row);
    }
    return rows;
}

int week_right_json(struct store *store, const struct week_data *data, json_t **ret_right,
                    json_t **ret_open, struct error *err)
{
    struct open_cases open = {.now_week = data->now_week};
    json_t *week = NULL, *quarter = NULL;
    const struct when_span shown = data->shown;
    const struct when_span last = {data->shown.to_ms - (int64_t)QUARTER_WEEKS * 7 * WHEN_DAY_MS,
                                   data->shown.to_ms};
    int rc = read_tally(store, data, shown, &week, err);
    if (!rc)
        rc = read_tally(store, data, last, &quarter, err);
    if (!rc)
        rc = pattern_open(store, data->plant, add_open, &open, err);
    if (rc) {
        json_decref(week);
        json_decref(quarter);
        return rc;
    }
    *ret_right = json_pack("{s:o, s:o}", "week", week, "quarter", quarter);
    *ret_open = open_json(&open);
    return 0;
}
