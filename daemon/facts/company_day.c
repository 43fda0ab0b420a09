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

/* ---- lots ---- */

static void destroy_lots(struct cache_object *cached)
{
    struct company_day_lots *day = (struct company_day_lots *)(void *)cached;
    free(day->lots);
    free(day->shares);
    free(day->by_level);
    free(day->levels);
    free(day);
}

static int take_packed(void *arg, const struct evidence_packed *row)
{
    struct company_day_lots *day = arg;
    day->lots = xrealloc(day->lots, (size_t)(day->count + 1) * sizeof *day->lots);
    day->lots[day->count++] = (struct company_day_lot){
        .lot_id = row->lot_id,
        .product_id = row->product_id,
        .packed_from_ms = row->packed_from_ms,
        .packed_to_ms = row->packed_to_ms,
        .units = (double)row->units,
        .line = company_day_key(row->plant, row->line),
        .shift = cache_hash(company_day_key(row->plant, row->line), row->shift)};
    return 0;
}

struct loose_share {
    int64_t lot_id;
    struct company_day_share share;
};
struct loose {
    struct loose_share *shares;
    int count;
};

static void add_share(struct loose *loose, int64_t lot_id, struct company_day_share share)
{
    loose->shares = xrealloc(loose->shares, (size_t)(loose->count + 1) * sizeof *loose->shares);
    loose->shares[loose->count++] = (struct loose_share){lot_id, share};
}

static int take_share(void *arg, const struct evidence_share *row)
{
    struct loose *loose = arg;
    struct company_day_share share = {.key = company_day_key(row->kind, row->level),
                                      .units = (double)row->units};
    int material = material_of(row->kind);
    if (strcmp(row->kind, "mix") == 0) {
        char when[32];
        share.factor = FACTOR_MIX;
        /* plants number their mixes anew every day: the same mix has the same time too */
        snprintf(when, sizeof when, "%lld", (long long)row->at_ms);
        share.key = cache_hash(share.key, when);
    } else if (strcmp(row->kind, "route") == 0) {
        share.factor = FACTOR_ROUTE;
    } else if (strcmp(row->kind, "store") == 0) {
        share.factor = FACTOR_STORE;
        share.also = company_day_key("route", row->supplier);
    } else if (material >= 0) {
        share.factor = FACTOR_FLOUR + material;
        if (*row->supplier)
            add_share(loose, row->lot_id,
                      (struct company_day_share){.key = company_day_key(row->kind, row->supplier),
                                                 .factor = FACTOR_SUPPLIER});
    } else {
        return 0;
    }
    add_share(loose, row->lot_id, share);
    return 0;
}

static int by_lot_id(const void *a, const void *b)
{
    const struct company_day_lot *x = a, *y = b;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

static int by_share(const void *a, const void *b)
{
    const struct loose_share *x = a, *y = b;
    if (x->lot_id != y->lot_id)
        return x->lot_id < y->lot_id ? -1 : 1;
    if (x->share.factor != y->share.factor)
        return x->share.factor < y->share.factor ? -1 : 1;
    return (x->share.key > y->share.key) - (x->share.key < y->share.key);
}

static void attach(struct company_day_lots *day, struct loose *loose)
{
    if (day->count)
        qsort(day->lots, (size_t)day->count, sizeof *day->lots, by_lot_id);
    if (loose->count)
        qsort(loose->shares, (size_t)loose->count, sizeof *loose->shares, by_share);
    day->shares = xcalloc((size_t)loose->count + 1, sizeof *day->shares);
    int at = 0;
    for (int i = 0; i < day->count; i++) {
        struct company_day_lot *lot = &day->lots[i];
        while (at < loose->count && loose->shares[at].lot_id < lot->lot_id)
            at++;
        lot->first_share = day->share_count;
        for (; at < loose->count && loose->shares[at].lot_id == lot->lot_id; at++) {
            loose->shares[at].share.lot = i;
            day->shares[day->share_count++] = loose->shares[at].share;
        }
        lot->share_count = day->share_count - lot->first_share;
    }
}

int32_t company_day_of(int64_t ms)
{
    return (int32_t)((ms - (ms < 0 ? WHEN_DAY_MS - 1 : 0)) / WHEN_DAY_MS);
}

static struct when_span span_of(struct company_day day)
{
    return (struct when_span){day.packed_day * WHEN_DAY_MS, (day.packed_day + 1) * WHEN_DAY_MS};
}

/* ---- by level ---- */

static int level_order(int factor, uint64_t key, const struct company_day_level *level)
{
    if (factor != level->factor)
        return factor < level->factor ? -1 : 1;
    return (key > level->key) - (key < level->key);
}

struct posting {
    struct company_day_level level;
    int share;
};

static int by_posting(const void *a, const void *b)
{
    const struct posting *x = a, *y = b;
    int order = level_order(x->level.factor, x->level.key, &y->level);
    return order ? order : (x->share > y->share) - (x->share < y->share); /* shares are by lot */
}

static void list_levels(struct company_day_lots *day)
{
    size_t count = (size_t)day->share_count;
    struct posting *postings = xcalloc(count + 1, sizeof *postings);
    for (int i = 0; i < day->share_count; i++)
        postings[i] = (struct posting){{day->shares[i].key, day->shares[i].factor, 0, 0}, i};
    if (count)
        qsort(postings, count, sizeof *postings, by_posting);
    day->by_level = xcalloc(count + 1, sizeof *day->by_level);
    day->levels = xcalloc(count + 1, sizeof *day->levels);
    for (int i = 0; i < day->share_count; i++) {
        struct company_day_level *last = &day->levels[day->level_count - 1];
        if (i == 0 || level_order(postings[i].level.factor, postings[i].level.key, last)) {
            last = &day->levels[day->level_count++];
            *last = postings[i].level;
            last->first = i;
        }
        last->count++;
        day->by_level[i] = postings[i].share;
    }
    day->levels = xrealloc(day->levels, ((size_t)day->level_count + 1) * sizeof *day->levels);
    free(postings);
}

const struct company_day_level *company_day_lots_level(const struct company_day_lots *lots,
                                                       int factor, uint64_t key)
{
    int low = 0, high = lots->level_count;
    while (low < high) {
        int middle = low + (high - low) / 2;
        int order = level_order(factor, key, &lots->levels[middle]);
        if (order == 0)
            return &lots->levels[middle];
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return NULL;
}

int company_day_lots_get(struct cache *cache, struct store *store, struct company_day day,
                         const struct company_day_lots **ret, struct error *err)
{
    struct cache_key key = {(uint64_t)(int64_t)day.packed_day, UINT64_MAX, 0};
    struct company_day_lots *lots = cache_get(cache, key, day.stamp);
    if (lots) {
        *ret = lots;
        return 0;
    }
    struct loose loose = {0};
    struct when_span span = span_of(day);
    lots = xcalloc(1, sizeof *lots);
    cache_object_init(&lots->cached, destroy_lots);
    int rc = evidence_packed(store, span, take_packed, lots, err);
    if (!rc && lots->count)
        rc = evidence_shares(store, span, take_share, &loose, err);
    if (!rc) {
        attach(lots, &loose);
        list_levels(lots);
        cache_put(cache, key, day.stamp, lots);
        *ret = lots;
    } else {
        cache_object_unref(lots);
    }
    free(loose.shares);
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
    int rc =
        evidence_reports(store, symptom_name(symptom), span_of(day), take_report, reports, err);
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
