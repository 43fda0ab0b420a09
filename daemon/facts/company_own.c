/* Who shares what with a view's own lot. */
#include "base/text.h"
#include "facts/company_inside.h"
#include <stdlib.h>

static void push(struct company_own *own, int lot)
{
    if (own->count && own->lots[own->count - 1] == lot)
        return;
    if ((own->count & (own->count + 1)) == 0)
        own->lots = xrealloc(own->lots, (size_t)(2 * own->count + 2) * sizeof *own->lots);
    own->lots[own->count++] = lot;
}

/* Both are by day and id. */
static void list_sharers(const struct company_view *view, const struct company_sharers *sharers,
                         struct company_own *own)
{
    for (int i = 0; i < sharers->count; i++) {
        int day = sharers->lots[i].packed_day - view->from_day;
        if (day < 0 || day >= view->day_count)
            continue;
        const struct company_day_lot *lot =
            company_day_lots_find(view->days[day], sharers->lots[i].lot_id);
        if (lot)
            push(own, view->first[day] + (int)(lot - view->days[day]->lots));
    }
}

static int list_by_day(struct cache *days, const struct lot_records *records,
                       const struct company_view *view, const struct company_level *level,
                       struct company_own *own, struct error *err)
{
    int rc = 0;
    for (int d = 0; d < view->day_count && !rc; d++) {
        const struct company_shares *shares = NULL;
        const struct company_day day = {view->from_day + d, records->serial};
        const struct company_shares_of made = {COMPANY_MADE, view->days[d]};
        rc = company_shares_get(days, records->store, day, &made, &shares, err);
        if (rc)
            break;
        const struct company_shares_level *found =
            company_shares_find(shares, level->factor, level->key);
        for (int i = 0; found && i < found->count; i++)
            push(own, view->first[d] + shares->shares[shares->by_level[found->first + i]].lot);
        cache_object_unref((void *)shares);
    }
    return rc;
}

int company_own_find(struct cache *days, struct cache *levels, const struct lot_records *records,
                     struct company_view *view, struct error *err)
{
    struct company_levels named = {0};
    if (view->own < 0)
        return 0;
    int rc = company_level_list(records->store, view->own_id, view->plant, &named, err);
    view->levels = xcalloc((size_t)named.count + 1, sizeof *view->levels);
    for (int i = 0; i < named.count && !rc; i++) {
        const struct company_level *level = &named.level[i];
        const struct company_sharers *sharers = NULL;
        struct company_own *own = &view->levels[view->level_count++];
        own->factor = level->factor;
        own->again = i && level[-1].factor == level->factor && level[-1].key == level->key;
        if (own->again)
            continue;
        rc = company_level_sharers(levels, records, level, &sharers, err);
        if (!rc && sharers->count < 0)
            rc = list_by_day(days, records, view, level, own, err);
        else if (!rc)
            list_sharers(view, sharers, own);
        cache_object_unref((void *)sharers);
    }
    free(named.level);
    return rc;
}

void company_own_clear(struct company_view *view)
{
    for (int i = 0; i < view->level_count; i++)
        free(view->levels[i].lots);
    free(view->levels);
}
