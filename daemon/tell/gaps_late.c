#include "tell/gaps_late.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "stats/robust.h"
#include "store/record_came.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { VALUES = 8 };                           /* fewer are no usual */
static const double FAR_Z = 3.5, LEAST_H = 12; /* what comes a shift later is no news */

struct came {
    int64_t packed_ms, came_ms;
    bool after;
};

/* The lots of one line and kind. */
struct run {
    char plant[LENGTH_CODE + 1], line[64], kind[16];
    struct came *lots;
    size_t count, capacity;
    const char *of_plant; /* NULL or "": all */
    const struct tz *tz;
    json_t *rows;
};

static double delay_h(const struct came *one)
{
    return (double)(one->came_ms - one->packed_ms) / WHEN_HOUR_MS;
}

/* From how many hours after packing on it is late. */
static double late_from(const struct run *r, double *ret_usual)
{
    double *delays = xcalloc(r->count, sizeof *delays);
    for (size_t i = 0; i < r->count; i++)
        delays[i] = delay_h(&r->lots[i]);
    struct robust_scale usual = robust_measure(delays, r->count);
    free(delays);
    *ret_usual = usual.median;
    double far = FAR_Z * usual.deviation;
    return usual.median + (far > LEAST_H ? far : LEAST_H);
}

static json_t *week_row(json_t *weeks, const struct tz *tz, int64_t packed_ms)
{
    char name[16];
    iso_week_format(iso_week_of(tz_day(tz, packed_ms)), name);
    json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
    if (last && strcmp(json_string_value(json_object_get(last, "week")), name) == 0)
        return last;
    last = json_pack("{ss si si si}", "week", name, "lots", 0, "late", 0, "after_complaint", 0);
    json_array_append_new(weeks, last);
    return last;
}

static void add(json_t *row, const char *name, bool it_is)
{
    json_int_t n = json_integer_value(json_object_get(row, name));
    json_object_set_new(row, name, json_integer(n + it_is));
}

static void end_run(struct run *r)
{
    double usual = 0, from = r->count >= VALUES ? late_from(r, &usual) : 0;
    size_t told = 0;
    json_t *weeks = json_array();
    for (size_t i = 0; i < r->count; i++) {
        json_t *row = week_row(weeks, r->tz, r->lots[i].packed_ms);
        bool late = r->count >= VALUES && delay_h(&r->lots[i]) > from;
        add(row, "lots", true);
        add(row, "late", late);
        add(row, "after_complaint", r->lots[i].after);
        told += late || r->lots[i].after;
    }
    if (told) {
        json_t *row =
            json_pack("{ss ss so sO}", "kind", r->kind, "line", r->line, "usual_h",
                      r->count >= VALUES ? jsonx_rounded(usual, 1) : json_null(), "weeks", weeks);
        plant_level_set(row, r->plant);
        json_array_append_new(r->rows, row);
    }
    json_decref(weeks);
    r->count = 0;
}

static int take(void *arg, const struct record_came *one)
{
    struct run *r = arg;
    if (r->of_plant && *r->of_plant && strcmp(r->of_plant, one->plant) != 0)
        return 0;
    if (strcmp(r->plant, one->plant) != 0 || strcmp(r->line, one->line) != 0 ||
        strcmp(r->kind, one->kind) != 0) {
        end_run(r);
        snprintf(r->plant, sizeof r->plant, "%s", one->plant);
        snprintf(r->line, sizeof r->line, "%s", one->line);
        snprintf(r->kind, sizeof r->kind, "%s", one->kind);
    }
    if (r->count == r->capacity) {
        r->capacity = r->capacity ? r->capacity * 2 : 256;
        r->lots = xrealloc(r->lots, r->capacity * sizeof *r->lots);
    }
    bool after = one->complained_ms != WHEN_UNKNOWN_MS && one->complained_ms < one->came_ms;
    r->lots[r->count++] = (struct came){one->packed_ms, one->came_ms, after};
    return 0;
}

int gaps_late_list(struct store *store, const struct tz *tz, const struct record_gaps_of *of,
                   json_t **ret, struct error *err)
{
    struct run r = {.tz = tz, .of_plant = of->plant, .rows = json_array()};
    int rc = record_came_list(store, of->packed, take, &r, err);
    end_run(&r);
    free(r.lots);
    *ret = r.rows;
    return rc;
}
