#include "patterns/returns.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/return_place.h"
#include "stats/poisson.h"
#include "store/returns.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STAND_MOST = 50, NAME = 208 };
enum { BY_ROUTE, BY_STORE, BY_PRODUCT, BY_REASON, BY_SYMPTOM, BY_DISPOSITION, FACTORS };
static const char *const FACTOR_NAME[FACTORS] = {"route",  "store",   "product",
                                                 "reason", "symptom", "disposition"};
enum { SENT_FACTORS = BY_PRODUCT + 1 }; /* those that units are dispatched by */

/* ---- counting ---- */

struct level {
    char name[NAME], key[NAME];  /* as first written; as compared */
    char plant[LENGTH_CODE + 1]; /* of a route: whose; else "" */
    int64_t returns, units, dispatched;
};
struct levels {
    struct level *level;
    size_t count, capacity, last; /* last: where the one before was found */
};
struct tally {
    const struct tz *tz;
    const char *plant; /* the one that is asked about, "" all */
    const struct catalogue *catalogue;
    struct levels by[FACTORS];
    int64_t returns, units, dispatched;
    bool any; /* on record at all, of whatever days: else none is no zero */
    json_t *stand;
};

/* Names of records are compared as they are, what people wrote by its letters. */
static struct level *level_of(struct levels *levels, const char *name, const char *plant,
                              bool free_text)
{
    char key[NAME];
    if (free_text)
        text_fold(name, key, sizeof key);
    else
        text_clip(name, key, sizeof key);
    /* rows come sorted: mostly it is the one before */
    for (size_t i = 0; i < levels->count; i++) {
        size_t at = (levels->last + i) % levels->count;
        if (strcmp(levels->level[at].key, key) != 0 || strcmp(levels->level[at].plant, plant) != 0)
            continue;
        levels->last = at;
        return &levels->level[at];
    }
    if (levels->count == levels->capacity) {
        levels->capacity = levels->capacity ? 2 * levels->capacity : 16;
        levels->level = xrealloc(levels->level, levels->capacity * sizeof *levels->level);
    }
    levels->last = levels->count;
    struct level *level = &levels->level[levels->count++];
    *level = (struct level){0};
    text_clip(name, level->name, sizeof level->name);
    memcpy(level->key, key, sizeof level->key);
    text_clip(plant, level->plant, sizeof level->plant);
    return level;
}

static const char *text_of(const json_t *body, const char *name)
{
    const char *text = json_string_value(json_object_get(body, name));
    return text ? text : "";
}

static void add_stand(struct tally *t, const struct returns_row *row, const char *put_at,
                      const char *caution)
{
    char when[40];
    json_array_insert_new(t->stand, 0,
                          json_pack("{s:s, s:s, s:s, s:s, s:I, s:s}", "complaint", row->complaint,
                                    "case", CASE_ID(row->case_id), "at",
                                    when_format(t->tz, row->received_ms, when), "put_at", put_at,
                                    "units", (json_int_t)row->units, "caution", caution));
    if (json_array_size(t->stand) > STAND_MOST)
        json_array_remove(t->stand, STAND_MOST);
}

static int count_return(void *arg, const struct returns_row *row)
{
    struct tally *t = arg;
    json_t *body = json_loads(row->body, 0, NULL); /* it was checked when it came in */
    const char *put_at = text_of(body, "put_at"), *disposition = text_of(body, "disposition");
    const char *const name[FACTORS] = {
        row->route, row->store, row->product, text_of(body, "reason"), row->symptom, disposition};
    if (*t->plant && strcmp(t->plant, row->plant) != 0) {
        json_decref(body);
        return 0;
    }
    t->returns++;
    t->units += row->units;
    for (int f = 0; f < FACTORS; f++) {
        struct level *level = level_of(&t->by[f], *name[f] ? name[f] : "not given",
                                       f == BY_ROUTE && *name[f] ? row->plant : "", f == BY_REASON);
        level->returns++;
        level->units += row->units;
    }
    const char *caution = return_place_caution(t->catalogue, put_at);
    if (caution && strcmp(disposition, "destroy") != 0)
        add_stand(t, row, put_at, caution);
    json_decref(body);
    return 0;
}

static int count_sent(void *arg, const struct returns_sent *row)
{
    struct tally *t = arg;
    const char *const name[SENT_FACTORS] = {row->route, row->store, row->product};
    if (*t->plant && strcmp(t->plant, row->plant) != 0)
        return 0;
    t->dispatched += row->units;
    for (int f = 0; f < SENT_FACTORS; f++)
        if (*name[f])
            level_of(&t->by[f], name[f], f == BY_ROUTE ? row->plant : "", false)->dispatched +=
                row->units;
    return 0;
}

/* ---- the report ---- */

static void set_rate(const struct tally *t, json_t *row, const struct level *l)
{
    double exposure = (double)l->dispatched, returns = (double)l->returns;
    double units = (double)l->units;
    json_object_set_new(row, "dispatched", json_integer(l->dispatched));
    if (l->dispatched <= 0 || !t->any)
        return;
    struct interval share = poisson_limits(units, 0.95);
    struct interval count = poisson_limits(returns, 0.95);
    json_object_set_new(row, "share", jsonx_rounded(units / exposure, 8));
    json_object_set_new(row, "low", jsonx_rounded(share.low / exposure, 8));
    json_object_set_new(row, "high", jsonx_rounded(share.high / exposure, 8));
    json_object_set_new(row, "per_million", jsonx_rounded(returns / exposure * 1e6, 8));
    json_object_set_new(row, "per_million_low", jsonx_rounded(count.low / exposure * 1e6, 8));
    json_object_set_new(row, "per_million_high", jsonx_rounded(count.high / exposure * 1e6, 8));
}

static int by_units(const void *a, const void *b)
{
    const struct level *x = a, *y = b;
    if (x->units != y->units)
        return x->units > y->units ? -1 : 1;
    return strcmp(x->name, y->name) ? strcmp(x->name, y->name) : strcmp(x->plant, y->plant);
}

static json_t *levels_json(const struct tally *t, int factor)
{
    const struct levels *levels = &t->by[factor];
    json_t *rows = json_array();
    if (levels->count)
        qsort(levels->level, levels->count, sizeof *levels->level, by_units);
    for (size_t i = 0; i < levels->count; i++) {
        const struct level *l = &levels->level[i];
        json_t *row = json_pack("{s:s, s:I, s:I}", "level", l->name, "returns",
                                (json_int_t)l->returns, "units", (json_int_t)l->units);
        plant_level_set(row, l->plant);
        if (factor < SENT_FACTORS)
            set_rate(t, row, l);
        else
            json_object_set_new(
                row, "share",
                jsonx_rounded(t->units ? (double)l->units / (double)t->units : NAN, 8));
        json_array_append_new(rows, row);
    }
    return rows;
}

static json_t *report_json(const struct tally *t, const struct returns_query *query)
{
    char from[16], to[16];
    json_t *by = json_object();
    json_t *report = json_pack("{s:s, s:s, s:I, s:I}", "from", day_format(query->from_day, from),
                               "to", day_format(query->to_day, to), "returns",
                               (json_int_t)t->returns, "units", (json_int_t)t->units);
    json_object_set_new(report, "on_record", json_boolean(t->any));
    set_rate(
        t, report,
        &(struct level){.returns = t->returns, .units = t->units, .dispatched = t->dispatched});
    for (int f = 0; f < FACTORS; f++)
        json_object_set_new(by, FACTOR_NAME[f], levels_json(t, f));
    json_object_set_new(report, "by", by);
    json_object_set(report, "stand", t->stand);
    return report;
}

int returns_report(struct store *store, const struct tz *tz, const struct returns_query *query,
                   json_t **ret, struct error *err)
{
    tz = tz_of(tz, query->plant);
    struct tally t = {.tz = tz,
                      .plant = query->plant ? query->plant : "",
                      .catalogue = query->catalogue,
                      .stand = json_array()};
    const struct when_span span = {tz_day_start_ms(tz, query->from_day),
                                   tz_day_start_ms(tz, query->to_day + 1)};
    int rc = returns_received(store, span, count_return, &t, err);
    t.any = t.returns > 0;
    if (!rc && !t.any)
        rc = returns_any(store, t.plant, &t.any, err);
    if (!rc)
        rc = returns_dispatched(store, span, count_sent, &t, err);
    if (!rc)
        *ret = report_json(&t, query);
    json_decref(t.stand);
    for (int f = 0; f < FACTORS; f++)
        free(t.by[f].level);
    return rc;
}
