#include "facts/company_shares.h"
#include "base/text.h"
#include "rules/vocabulary.h"
#include "store/evidence.h"
#include <stdlib.h>
#include <string.h>

struct loose_share {
    int64_t lot_id;
    struct company_share share;
};
struct loose {
    struct loose_share *shares;
    int count;
};

static void add_share(struct loose *loose, int64_t lot_id, struct company_share share)
{
    loose->shares = xrealloc(loose->shares, (size_t)(loose->count + 1) * sizeof *loose->shares);
    loose->shares[loose->count++] = (struct loose_share){lot_id, share};
}

static int take_share(void *arg, const struct evidence_share *row)
{
    struct loose *loose = arg;
    struct company_share share = {.key = company_day_key(row->kind, row->level),
                                  .units = (double)row->units};
    int material = material_of(row->kind);
    if (strcmp(row->kind, "mix") == 0) {
        share.factor = FACTOR_MIX;
        share.key = company_day_mix(row->level, row->at_ms);
    } else if (strcmp(row->kind, "route") == 0) {
        share.factor = FACTOR_ROUTE;
    } else if (strcmp(row->kind, "store") == 0) {
        share.factor = FACTOR_STORE;
        share.also = company_day_key("route", row->supplier);
    } else if (material >= 0) {
        share.factor = FACTOR_FLOUR + material;
        if (*row->supplier)
            add_share(loose, row->lot_id,
                      (struct company_share){.key = company_day_key(row->kind, row->supplier),
                                             .factor = FACTOR_SUPPLIER});
    } else {
        return 0;
    }
    add_share(loose, row->lot_id, share);
    return 0;
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

/* Routes and mixes are their plant's. */
static struct company_share owned(struct company_share share, const struct company_day_lot *lot)
{
    if (share.factor == FACTOR_ROUTE || share.factor == FACTOR_MIX)
        share.key = company_day_own(share.key, lot->plant);
    if (share.factor == FACTOR_STORE)
        share.also = company_day_own(share.also, lot->plant);
    return share;
}

/* In the order of the day's lots, who are by id. */
static void attach(struct company_shares *day, const struct company_day_lots *lots,
                   struct loose *loose)
{
    if (loose->count)
        qsort(loose->shares, (size_t)loose->count, sizeof *loose->shares, by_share);
    day->shares = xcalloc((size_t)loose->count + 1, sizeof *day->shares);
    int at = 0;
    for (int i = 0; i < lots->count; i++) {
        while (at < loose->count && loose->shares[at].lot_id < lots->lots[i].lot_id)
            at++;
        for (; at < loose->count && loose->shares[at].lot_id == lots->lots[i].lot_id; at++) {
            loose->shares[at].share.lot = i;
            day->shares[day->count++] = owned(loose->shares[at].share, &lots->lots[i]);
        }
    }
}

static int level_order(int factor, uint64_t key, const struct company_shares_level *level)
{
    if (factor != level->factor)
        return factor < level->factor ? -1 : 1;
    return (key > level->key) - (key < level->key);
}

struct posting {
    struct company_shares_level level;
    int share;
};

static int by_posting(const void *a, const void *b)
{
    const struct posting *x = a, *y = b;
    int order = level_order(x->level.factor, x->level.key, &y->level);
    return order ? order : (x->share > y->share) - (x->share < y->share); /* shares are by lot */
}

static void list_levels(struct company_shares *day)
{
    size_t count = (size_t)day->count;
    struct posting *postings = xcalloc(count + 1, sizeof *postings);
    for (int i = 0; i < day->count; i++)
        postings[i] = (struct posting){{day->shares[i].key, day->shares[i].factor, 0, 0}, i};
    if (count)
        qsort(postings, count, sizeof *postings, by_posting);
    day->by_level = xcalloc(count + 1, sizeof *day->by_level);
    day->levels = xcalloc(count + 1, sizeof *day->levels);
    for (int i = 0; i < day->count; i++) {
        struct company_shares_level *last = &day->levels[day->level_count - 1];
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

const struct company_shares_level *company_shares_find(const struct company_shares *shares,
                                                       int factor, uint64_t key)
{
    int low = 0, high = shares->level_count;
    while (low < high) {
        int middle = low + (high - low) / 2;
        int order = level_order(factor, key, &shares->levels[middle]);
        if (order == 0)
            return &shares->levels[middle];
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return NULL;
}

static void destroy_shares(struct cache_object *cached)
{
    struct company_shares *day = (struct company_shares *)(void *)cached;
    free(day->shares);
    free(day->by_level);
    free(day->levels);
    free(day);
}

int company_shares_get(struct cache *cache, struct store *store, struct company_day day,
                       const struct company_shares_of *of, const struct company_shares **ret,
                       struct error *err)
{
    struct cache_key key = {(uint64_t)(int64_t)day.packed_day, UINT64_MAX - 1 - (uint64_t)of->what,
                            2};
    struct company_shares *shares = cache_get(cache, key, day.stamp);
    if (shares) {
        *ret = shares;
        return 0;
    }
    struct loose loose = {0};
    shares = xcalloc(1, sizeof *shares);
    cache_object_init(&shares->cached, destroy_shares);
    int rc = 0;
    if (of->lots->count)
        rc = (of->what == COMPANY_MADE ? evidence_made_any : evidence_traded)(
            store, company_day_span(day), take_share, &loose, err);
    if (!rc) {
        attach(shares, of->lots, &loose);
        list_levels(shares);
        cache_put(cache, key, day.stamp, shares);
        *ret = shares;
    } else {
        cache_object_unref(shares);
    }
    free(loose.shares);
    return rc;
}

uint64_t company_shares_route(const struct company_shares *shares, int lot, uint64_t store)
{
    const struct company_shares_level *level = company_shares_find(shares, FACTOR_STORE, store);
    for (int i = 0; level && i < level->count; i++) {
        const struct company_share *share = &shares->shares[shares->by_level[level->first + i]];
        if (share->lot == lot)
            return share->also;
    }
    return 0;
}
