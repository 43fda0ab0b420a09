#include "facts/company_history.h"
#include "base/text.h"
#include "facts/company_day.h"
#include "store/company_count.h"
#include "store/evidence.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* Thirteen weeks of packing that end before the window of any lot of this week begins (42 days,
 * company_inside.h): what a view judges is not in what it is judged by, and nearly all complaints
 * about them are in. A lot counts for three complaints at most: one in trouble is not usual. By
 * weeks, so that the lots of a week share one history. */
enum { FROM_DAYS = 133, TO_DAYS = 43, LOT_CAP = 3 };
#define SHIPPED_WEIGHT 30.0 /* complaints that the shipped delays count for */

struct gather {
    struct company_history *history;
    double delays[HISTORY_DELAY_DAYS + 1];
    int64_t last_lot;
    double last_count;
};

static void destroy(struct cache_object *cached)
{
    free((struct company_history *)(void *)cached);
}

static int take_count(void *arg, const struct company_row *row)
{
    struct gather *gather = arg;
    int64_t delay = row->received_ms / WHEN_DAY_MS - row->packed_day;
    assert(row->count >= 0);
    if (delay < 0 || delay > HISTORY_DELAY_DAYS)
        return 0;
    gather->delays[delay] += row->count;
    if (row->lot_id != gather->last_lot)
        gather->last_count = 0;
    gather->last_lot = row->lot_id;
    double counted = fmin(row->count, LOT_CAP - gather->last_count);
    gather->last_count += counted;
    gather->history->complaints += counted;
    return 0;
}

static void fill_reported(struct gather *gather, const struct rules *rules, int symptom)
{
    assert(symptom >= 0 && symptom < SYMPTOMS);
    const struct rule_ranking *ranking = &rules->ranking;
    double sum = 0, so_far = 0;
    for (int d = 0; d <= HISTORY_DELAY_DAYS; d++)
        sum += gather->delays[d];
    for (int d = 0; d <= HISTORY_DELAY_DAYS; d++) {
        double shipped =
            rules_curve(ranking->delay[symptom], ranking->delay_count[symptom], d + 0.5);
        so_far += gather->delays[d];
        gather->history->reported[d] = (so_far + SHIPPED_WEIGHT * shipped) / (sum + SHIPPED_WEIGHT);
    }
    assert(gather->history->reported[0] <= 1 + 1e-9);
    gather->history->reported[HISTORY_DELAY_DAYS] = 1;
}

int company_history_get(struct cache *cache, const struct lot_records *records,
                        const struct company_around *around, const struct company_history **ret,
                        struct error *err)
{
    int32_t packed_day = company_day_of(around->record->lot.packed_from_ms);
    int32_t monday = packed_day - (day_of_week(packed_day) - 1);
    const struct company_count_scope scope = {symptom_name(around->symptom), monday - FROM_DAYS,
                                              monday - TO_DAYS};
    struct cache_key key = {(uint64_t)around->symptom, (uint64_t)(int64_t)monday, UINT64_MAX};
    int64_t serial = 0;
    int rc = company_count_days_serial(records->store, &scope, &serial, err);
    if (rc)
        return rc;
    int64_t stamp = cache_stamp(records->serial, serial);
    struct company_history *history = cache_get(cache, key, stamp);
    if (history) {
        *ret = history;
        return 0;
    }
    history = xcalloc(1, sizeof *history);
    cache_object_init(&history->cached, destroy);
    history->stamp = stamp;
    struct gather gather = {.history = history};
    int64_t units = 0;
    rc = company_count_list(records->store, &scope, take_count, &gather, err);
    const struct when_span packed = {scope.from_day * WHEN_DAY_MS,
                                     (scope.to_day + 1) * WHEN_DAY_MS};
    if (!rc)
        rc = evidence_units(records->store, packed, &units, err);
    history->units = (double)units;
    if (rc) {
        cache_object_unref(history);
        return rc;
    }
    fill_reported(&gather, around->rules, around->symptom);
    cache_put(cache, key, stamp, history);
    *ret = history;
    return 0;
}

double company_history_reported(const struct company_history *history, double days)
{
    if (!(days > 0))
        return 0;
    if (days >= HISTORY_DELAY_DAYS + 0.5)
        return 1;
    /* reported[d] stands at d + 1/2: complaints of a day come all through it */
    double at = days - 0.5;
    if (at < 0)
        return history->reported[0] * days / 0.5;
    int d = (int)at;
    assert(d >= 0 && d < HISTORY_DELAY_DAYS);
    double low = history->reported[d], high = history->reported[d + 1];
    return low + (at - d) * (high - low);
}
