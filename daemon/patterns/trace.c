#include "patterns/trace.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "patterns/trace_due.h"
#include "patterns/trace_explain.h"
#include "patterns/trace_named.h"
#include "patterns/trace_runs.h"
#include "patterns/trace_test.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/evidence.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WEEK_DAYS = 56 }; /* that a week looks at: week_traced.c */
/* A rival is near from this part of the leader's share of belief on. */
#define NEAR 0.5

struct period {
    struct when_span packed;
    char symptom[16];
    int64_t *lots; /* of the cases, sorted; NULL: all lots with complaints */
    size_t lot_count;
};

static int by_id(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static json_t *number_or_null(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static json_t *odds_json(const struct trace_odds *odds)
{
    return json_pack("{s:o, s:o, s:o, s:f, s:b}", "odds_ratio", number_or_null(odds->ratio), "low",
                     number_or_null(odds->limits.low), "high", number_or_null(odds->limits.high),
                     "p", odds->p, "exact", odds->exact);
}

static json_t *level_json(const struct trace_level *level)
{
    json_t *row = json_pack("{s:s, s:s}", "factor", level->factor, "level", level->level);
    plant_level_set(row, level->plant);
    return row;
}

/* Levels on exactly the same lots cannot be told apart: "store 0103" with "route R01". */
static json_t *same_json(const struct trace_lots *t, size_t level)
{
    json_t *same = json_array();
    for (size_t i = 0; i < t->level_count; i++) {
        if (t->levels[i].same == level && i != level)
            json_array_append_new(same, level_json(&t->levels[i]));
    }
    return same;
}

static json_t *factor_json(const struct trace_lots *t, const struct trace_result *r)
{
    json_t *row =
        json_pack("{s:s, s:s, s:I, s:I, s:I, s:I}", "factor", t->levels[r->level].factor, "level",
                  t->levels[r->level].level, "case_lots_exposed", (json_int_t)r->failed_exposed,
                  "case_lots", (json_int_t)r->failed, "other_lots_exposed",
                  (json_int_t)r->other_exposed, "other_lots", (json_int_t)r->other);
    plant_level_set(row, t->levels[r->level].plant);
    json_t *odds = odds_json(&r->odds);
    json_object_update(row, odds);
    json_decref(odds);
    json_object_set_new(row, "q", json_real(r->q));
    if (r->has_rest)
        json_object_set_new(row, "beside_first", odds_json(&r->rest));
    json_t *same = same_json(t, r->level);
    if (json_array_size(same))
        json_object_set(row, "same_lots", same);
    json_decref(same);
    return row;
}

/* ---- which lots failed ---- */

static int read_case(struct store *store, int64_t case_id, const struct trace_query *query,
                     struct period *period, struct error *err)
{
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (rc)
        return rc;
    if (!row.complaints)
        return error_set(err, ERROR_NOT_FOUND, "case %s has no complaints", CASE_ID(case_id));
    if (query->symptom && strcmp(query->symptom, row.symptom) != 0)
        return 0;
    if (!period->symptom[0])
        memcpy(period->symptom, row.symptom, sizeof period->symptom);
    if (strcmp(period->symptom, row.symptom) != 0) {
        error_hint(err, "trace one symptom at a time, or give --symptom");
        return error_set(err, ERROR_INVALID, "the cases have different symptoms");
    }
    if (row.lot_id)
        period->lots[period->lot_count++] = row.lot_id;
    return 0;
}

/* The whole weeks around the lots of the cases. */
static int weeks_around(struct store *store, const struct tz *tz, struct period *period,
                        struct error *err)
{
    int32_t first = INT32_MAX, last = INT32_MIN;
    for (size_t i = 0; i < period->lot_count; i++) {
        struct evidence_lot lot;
        int rc = evidence_lot(store, period->lots[i], &lot, err);
        if (rc)
            return rc;
        int32_t monday = iso_week_monday(iso_week_of(tz_day(tz, lot.packed_from_ms)));
        first = monday < first ? monday : first;
        last = monday > last ? monday : last;
    }
    if (!period->lot_count) {
        error_hint(err, "a case whose lot is not known cannot be traced");
        return error_set(err, ERROR_INVALID, "none of the cases has a lot of the symptom");
    }
    period->packed = (struct when_span){tz_day_start_ms(tz, first), tz_day_start_ms(tz, last + 7)};
    return 0;
}

static int read_period(struct store *store, const struct tz *tz, const struct trace_query *query,
                       struct period *period, struct error *err)
{
    if (query->symptom)
        text_clip(query->symptom, period->symptom, sizeof period->symptom);
    if (!query->case_count) {
        period->packed = (struct when_span){tz_day_start_ms(tz, query->from_day),
                                            tz_day_start_ms(tz, query->to_day + 1)};
        return 0;
    }
    period->lots = xcalloc(query->case_count, sizeof *period->lots);
    for (size_t i = 0; i < query->case_count; i++) {
        int rc = read_case(store, query->cases[i], query, period, err);
        if (rc)
            return rc;
    }
    if (period->lot_count)
        qsort(period->lots, period->lot_count, sizeof *period->lots, by_id);
    return weeks_around(store, tz, period, err);
}

/* With cases given, other lots that were complained about are no fair comparison. */
static void mark_failed(struct trace_lots *t, const struct period *period)
{
    for (size_t i = 0; i < t->count; i++) {
        struct trace_lot *lot = &t->lots[i];
        lot->failed = lot->complaints > 0;
        if (period->lots) {
            lot->failed = bsearch(&lot->lot_id, period->lots, period->lot_count,
                                  sizeof *period->lots, by_id) != NULL;
            lot->excluded = !lot->failed && lot->complaints > 0;
        }
    }
}

/* ---- what explains them ---- */

/* What a stretch shares whose complaints come from one lot is no more than what that lot is. */
static void add_one_lot(const struct trace_lots *t, const struct trace_blame *b, json_t *out)
{
    const struct trace_level *l = &t->levels[b->level];
    const struct trace_lot *most = NULL;
    json_int_t all = 0;
    for (size_t i = b->first; i <= b->last; i++) {
        const struct trace_lot *lot = &t->lots[l->lots[i]];
        if (!lot->failed)
            continue;
        all += lot->complaints;
        most = most && most->complaints >= lot->complaints ? most : lot;
    }
    if (most && 2 * (json_int_t)most->complaints > all)
        json_object_set_new(out, "one_lot",
                            json_pack("{s:s, s:I, s:I}", "lot", most->lot, "complaints",
                                      (json_int_t)most->complaints, "of", all));
}

static json_t *blame_json(const struct trace_lots *t, const struct tz *tz,
                          const struct trace_blame *b)
{
    const struct trace_level *l = &t->levels[b->level];
    char from[40], to[40];
    json_t *out =
        json_pack("{s:s, s:s, s:f, s:b, s:s, s:s, s:I, s:f, s:f, s:f}", "factor", l->factor,
                  "level", l->level, "share", b->share, "throughout", b->throughout, "from",
                  when_format(tz, t->lots[l->lots[b->first]].packed_from_ms, from), "to",
                  when_format(tz, t->lots[l->lots[b->last]].packed_to_ms, to), "lots",
                  (json_int_t)b->last - (json_int_t)b->first + 1, "observed", b->observed,
                  "expected", b->expected, "ratio", b->ratio);
    plant_level_set(out, l->plant);
    add_one_lot(t, b, out);
    return out;
}

static json_t *stories_json(const struct trace_lots *t, const struct tz *tz,
                            const struct trace_story stories[TRACE_STORIES])
{
    json_t *out = json_array();
    for (int s = 0; s < TRACE_STORIES && stories[s].count && (s == 0 || stories[s].told); s++) {
        json_t *of = json_array();
        for (int i = 0; i < stories[s].count; i++)
            json_array_append_new(of, blame_json(t, tz, &stories[s].of[i]));
        json_array_append_new(out, json_pack("{s:b, s:o}", "told", stories[s].told, "factors", of));
    }
    return out;
}

/* What explains best stands first, sure or not, its near rivals behind it, before what explains
 * what that leaves over; then all else as it was. */
static void put_in_order(struct trace_lots *t, const struct trace_story stories[TRACE_STORIES],
                         struct trace_result *results, size_t *count)
{
    size_t at = 0;
    for (int s = 0; s < TRACE_STORIES; s++) {
        for (int i = 0; i < stories[s].count; i++) {
            if (stories[s].of[i].share >= NEAR * stories[s].of[0].share)
                at = trace_test_lead(t, results, count, at, stories[s].of[i].level);
        }
    }
}

static int explain(struct trace_lots *t, struct trace_story stories[TRACE_STORIES],
                   struct error *err)
{
    if (!trace_explain(t, -INFINITY, stories))
        return error_set(err, ERROR_BUSY, "whoever asked has gone");
    return 0;
}

static int answer(struct trace_lots *t, const struct tz *tz, const struct period *period,
                  json_t **ret, struct error *err)
{
    struct trace_result *results = NULL;
    struct trace_story stories[TRACE_STORIES];
    size_t count = 0, tested;
    int rc = trace_test_all(t, &results, &count, err);
    tested = count;
    if (!rc)
        rc = explain(t, stories, err);
    if (rc) {
        free(results);
        return rc;
    }
    put_in_order(t, stories, results, &count);
    trace_test_beside(t, results, count);
    json_t *factors = json_array();
    for (size_t i = 0; i < count; i++) {
        if (results[i].failed_exposed > 0)
            json_array_append_new(factors, factor_json(t, &results[i]));
    }
    free(results);
    *ret = json_pack("{s:s, s:I, s:o, s:o, s:o}", "symptom", period->symptom, "tested",
                     (json_int_t)tested, "factors", factors, "runs", trace_runs_json(t, tz),
                     "stories", stories_json(t, tz, stories));
    return 0;
}

/* ---- the lots ---- */

struct tracing {
    struct store *store;
    const struct tz *tz;
    const struct trace_query *query;
};

static int read_marked(const struct tracing *x, const struct period *period,
                       struct trace_lots **ret, struct error *err)
{
    const struct trace_asked asked = {period->symptom, period->packed, INT64_MAX};
    const struct trace_packed packed = {period->packed, x->query->plant};
    const struct trace_due_by by = {x->tz, symptom_of(period->symptom),
                                    tz_day(x->tz, period->packed.to_ms - 1), x->query->now_ms,
                                    x->query->plant};
    int rc = trace_lots_read(x->store, x->tz, &packed, ret, err);
    if (!rc)
        rc = trace_named_read(*ret, x->store, &asked, err);
    if (!rc)
        rc = trace_lots_report(*ret, x->store, &asked, err);
    if (!rc && by.now_ms && by.symptom >= 0)
        rc = trace_due_read(*ret, x->store, &by, err);
    if (!rc)
        mark_failed(*ret, period);
    return rc;
}

/* ---- the weeks before ---- */

static bool is_told(const json_t *answer)
{
    const json_t *stories = json_object_get(answer, "stories");
    return json_is_true(json_object_get(json_array_get(stories, 0), "told"));
}

static int add_weeks(const struct tracing *x, const struct period *period, json_t *answer,
                     struct error *err)
{
    char from[16], to[16];
    struct trace_story stories[TRACE_STORIES];
    struct trace_lots *lots = NULL;
    if (x->query->case_count || is_told(answer))
        return 0; /* cases have no days of their own */
    int32_t last = x->query->to_day, first = last - WEEK_DAYS + 1;
    struct period weeks = {.packed = {tz_day_start_ms(x->tz, first), period->packed.to_ms}};
    if (x->query->from_day <= first)
        return 0;
    memcpy(weeks.symptom, period->symptom, sizeof weeks.symptom);
    int rc = read_marked(x, &weeks, &lots, err);
    if (!rc)
        rc = explain(lots, stories, err);
    if (!rc)
        json_object_set_new(answer, "eight_weeks",
                            json_pack("{s:s, s:s, s:o}", "from", day_format(first, from), "to",
                                      day_format(last, to), "stories",
                                      stories_json(lots, x->tz, stories)));
    trace_lots_free(lots);
    return rc;
}

int trace_run(struct store *store, const struct tz *tz, const struct trace_query *query,
              json_t **ret, struct error *err)
{
    tz = tz_of(tz, query->plant);
    const struct tracing x = {store, tz, query};
    struct period period = {0};
    struct trace_lots *lots = NULL;
    json_t *told = NULL;
    int rc = read_period(store, tz, query, &period, err);
    if (!rc)
        rc = read_marked(&x, &period, &lots, err);
    if (!rc)
        rc = answer(lots, tz, &period, &told, err);
    if (!rc)
        rc = add_weeks(&x, &period, told, err);
    trace_lots_free(lots);
    free(period.lots);
    if (rc)
        json_decref(told);
    else
        *ret = told;
    return rc;
}
