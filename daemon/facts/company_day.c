#include "facts/company_day.h"
#include "base/text.h"
#include "rules/vocabulary.h"
#include "store/evidence.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

uint64_t company_day_key(const char *kind, const char *level)
{
    return cache_hash(cache_hash(0, kind), level);
}

uint64_t company_day_plant(const char *plant)
{
    return *plant ? cache_hash(0, plant) : 0;
}

uint64_t company_day_own(uint64_t key, uint64_t plant)
{
    return plant ? (uint64_t)cache_stamp((int64_t)key, (int64_t)plant) : key;
}

uint64_t company_day_mix(const char *mix, int64_t at_ms)
{
    char when[32];
    snprintf(when, sizeof when, "%lld", (long long)at_ms);
    return cache_hash(company_day_key("mix", mix), when);
}

/* ---- lots ---- */

static void destroy_lots(struct cache_object *cached)
{
    struct company_day_lots *day = (struct company_day_lots *)(void *)cached;
    free(day->lots);
    free(day);
}

static int take_packed(void *arg, const struct evidence_packed *row)
{
    struct company_day_lots *day = arg;
    uint64_t line = company_day_key(row->plant, row->line);
    if ((day->count & (day->count + 1)) == 0) /* 0, 1, 3, 7 …: it is full, make room for twice */
        day->lots = xrealloc(day->lots, (size_t)(2 * day->count + 2) * sizeof *day->lots);
    day->lots[day->count++] = (struct company_day_lot){.lot_id = row->lot_id,
                                                       .product_id = row->product_id,
                                                       .packed_from_ms = row->packed_from_ms,
                                                       .packed_to_ms = row->packed_to_ms,
                                                       .units = (double)row->units,
                                                       .plant = company_day_plant(row->plant),
                                                       .line = line,
                                                       .shift = cache_hash(line, row->shift)};
    return 0;
}

static int by_lot_id(const void *a, const void *b)
{
    const struct company_day_lot *x = a, *y = b;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

int32_t company_day_of(int64_t ms)
{
    return (int32_t)((ms - (ms < 0 ? WHEN_DAY_MS - 1 : 0)) / WHEN_DAY_MS);
}

struct when_span company_day_span(struct company_day day)
{
    return (struct when_span){day.packed_day * WHEN_DAY_MS, (day.packed_day + 1) * WHEN_DAY_MS};
}

int company_day_lots_get(struct cache *cache, struct store *store, struct company_day day,
                         const struct company_day_lots **ret, struct error *err)
{
    /* the second word is a symptom where there is one: of lots none; the third tells the kinds of
     * object in this cache apart */
    struct cache_key key = {(uint64_t)(int64_t)day.packed_day, UINT64_MAX, 0};
    struct company_day_lots *lots = cache_get(cache, key, day.stamp);
    if (lots) {
        *ret = lots;
        return 0;
    }
    lots = xcalloc(1, sizeof *lots);
    cache_object_init(&lots->cached, destroy_lots);
    int rc = evidence_packed_any(store, company_day_span(day), take_packed, lots, err);
    if (!rc) {
        if (lots->count)
            qsort(lots->lots, (size_t)lots->count, sizeof *lots->lots, by_lot_id);
        cache_put(cache, key, day.stamp, lots);
        *ret = lots;
    } else {
        cache_object_unref(lots);
    }
    return rc;
}

const struct company_day_lot *company_day_lots_find(const struct company_day_lots *lots,
                                                    int64_t lot_id)
{
    struct company_day_lot key = {.lot_id = lot_id};
    return lots->count ? bsearch(&key, lots->lots, (size_t)lots->count, sizeof key, by_lot_id)
                       : NULL;
}

/* ---- complaints ---- */

static void destroy_reports(struct cache_object *cached)
{
    struct company_day_reports *day = (struct company_day_reports *)(void *)cached;
    free(day->reports);
    free(day);
}

static int take_report(void *arg, const struct evidence_report *row)
{
    struct company_day_reports *day = arg;
    day->reports = xrealloc(day->reports, (size_t)(day->count + 1) * sizeof *day->reports);
    day->reports[day->count++] = (struct company_day_report){
        row->lot_id, row->received_ms, *row->store ? company_day_key("store", row->store) : 0,
        *row->route ? company_day_key("route", row->route) : 0};
    return 0;
}

static int by_report(const void *a, const void *b)
{
    const struct company_day_report *x = a, *y = b;
    if (x->lot_id != y->lot_id)
        return x->lot_id < y->lot_id ? -1 : 1;
    return (x->received_ms > y->received_ms) - (x->received_ms < y->received_ms);
}

int company_day_reports_get(struct cache *cache, struct store *store, int symptom,
                            struct company_day day, const struct company_day_reports **ret,
                            struct error *err)
{
    struct cache_key key = {(uint64_t)(int64_t)day.packed_day, (uint64_t)symptom, 1};
    struct company_day_reports *reports = cache_get(cache, key, day.stamp);
    if (reports) {
        *ret = reports;
        return 0;
    }
    reports = xcalloc(1, sizeof *reports);
    cache_object_init(&reports->cached, destroy_reports);
    int rc = evidence_day_reports(store, symptom_name(symptom), day.packed_day, take_report,
                                  reports, err);
    if (rc) {
        cache_object_unref(reports);
        return rc;
    }
    if (reports->count)
        qsort(reports->reports, (size_t)reports->count, sizeof *reports->reports, by_report);
    cache_put(cache, key, day.stamp, reports);
    *ret = reports;
    return 0;
}
