#include "facts/company_level.h"
#include "base/text.h"
#include "rules/vocabulary.h"
#include "store/evidence.h"
#include <stdlib.h>
#include <string.h>

static struct company_level *add_level(struct company_levels *levels,
                                       const struct evidence_share *row)
{
    levels->level = xrealloc(levels->level, (size_t)(levels->count + 1) * sizeof *levels->level);
    struct company_level *level = &levels->level[levels->count++];
    *level = (struct company_level){.at_ms = row->at_ms, .plant = levels->plant};
    text_clip(row->kind, level->kind, sizeof level->kind);
    text_clip(row->level, level->name, sizeof level->name);
    return level;
}

static int take_level(void *arg, const struct evidence_share *row)
{
    int material = material_of(row->kind);
    bool is_mix = strcmp(row->kind, "mix") == 0;
    if (!is_mix && material < 0)
        return 0;
    struct company_levels *levels = arg;
    struct company_level *level = add_level(levels, row);
    level->factor = is_mix ? FACTOR_MIX : FACTOR_FLOUR + material;
    level->key = is_mix ? company_day_own(company_day_mix(row->level, row->at_ms),
                                          company_day_plant(levels->plant))
                        : company_day_key(row->kind, row->level);
    if (is_mix || !*row->supplier)
        return 0;
    level = add_level(levels, row);
    level->factor = FACTOR_SUPPLIER;
    level->key = company_day_key(row->kind, row->supplier);
    return 0;
}

static int by_level_key(const void *a, const void *b)
{
    const struct company_level *x = a, *y = b;
    if (x->factor != y->factor)
        return x->factor < y->factor ? -1 : 1;
    return (x->key > y->key) - (x->key < y->key);
}

int company_level_list(struct store *store, int64_t lot_id, const char *plant,
                       struct company_levels *ret, struct error *err)
{
    struct company_levels levels = {.plant = plant};
    int rc = evidence_made_of(store, lot_id, take_level, &levels, err);
    if (rc) {
        free(levels.level);
        return rc;
    }
    if (levels.count)
        qsort(levels.level, (size_t)levels.count, sizeof *levels.level, by_level_key);
    *ret = levels;
    return 0;
}

static void destroy_sharers(struct cache_object *cached)
{
    struct company_sharers *sharers = (struct company_sharers *)(void *)cached;
    free(sharers->lots);
    free(sharers);
}

static int take_sharer(void *arg, const struct evidence_sharer *row)
{
    struct company_sharers *sharers = arg;
    if ((sharers->count & (sharers->count + 1)) == 0)
        sharers->lots =
            xrealloc(sharers->lots, (size_t)(2 * sharers->count + 2) * sizeof *sharers->lots);
    sharers->lots[sharers->count++] =
        (struct company_sharer){row->lot_id, company_day_of(row->packed_from_ms)};
    return 0;
}

static int by_day(const void *a, const void *b)
{
    const struct company_sharer *x = a, *y = b;
    if (x->packed_day != y->packed_day)
        return x->packed_day < y->packed_day ? -1 : 1;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

int company_level_sharers(struct cache *cache, const struct lot_records *records,
                          const struct company_level *level, const struct company_sharers **ret,
                          struct error *err)
{
    enum { LISTED = 4096 }; /* of a silo that is one lot for years, or of a supplier: go by day */
    struct cache_key key = {level->key, (uint64_t)level->factor, 3};
    struct company_sharers *sharers = cache_get(cache, key, records->serial);
    if (sharers) {
        *ret = sharers;
        return 0;
    }
    sharers = xcalloc(1, sizeof *sharers);
    cache_object_init(&sharers->cached, destroy_sharers);
    const struct evidence_share of = {
        .kind = level->kind, .level = level->name, .at_ms = level->at_ms, .plant = level->plant};
    int rc = 0;
    if (level->factor != FACTOR_SUPPLIER)
        rc = evidence_sharers(records->store, &of, LISTED + 1, take_sharer, sharers, err);
    if (rc) {
        cache_object_unref(sharers);
        return rc;
    }
    if (sharers->count > LISTED || level->factor == FACTOR_SUPPLIER)
        sharers->count = -1;
    else if (sharers->count)
        qsort(sharers->lots, (size_t)sharers->count, sizeof *sharers->lots, by_day);
    cache_put(cache, key, records->serial, sharers);
    *ret = sharers;
    return 0;
}
