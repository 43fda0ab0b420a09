/* The other lots of a view, with what they share: for reach. */
#include "base/text.h"
#include "facts/company_inside.h"
#include <stdlib.h>

static unsigned plain_shared(const struct company_view *view, const struct company_day_lot *lot)
{
    unsigned shared = 0;
    if (lot->plant == view->own_plant)
        shared |= 1u << FACTOR_PLANT;
    if (lot->product_id == view->product_id)
        shared |= 1u << FACTOR_PRODUCT;
    if (lot->line != view->own_line)
        return shared;
    shared |= 1u << FACTOR_LINE;
    if (llabs(lot->packed_from_ms - view->packed_from_ms) <= COMPANY_LINE_HOURS * WHEN_HOUR_MS)
        shared |= 1u << FACTOR_LINE_HOUR;
    if (lot->shift == view->own_shift && company_near(view, lot, 1))
        shared |= 1u << FACTOR_SHIFT;
    return shared;
}

/* What each of the view's lots shares with its own. */
struct sharing {
    unsigned *shared; /* bits, by lot */
    int *mixes;
};

static int mark_all(const struct company_view *view, struct sharing *sharing)
{
    int own_mixes = 0;
    for (int i = 0; i < view->level_count; i++) {
        const struct company_own *level = &view->levels[i];
        own_mixes += level->factor == FACTOR_MIX;
        for (int k = 0; k < level->count; k++) {
            sharing->shared[level->lots[k]] |= 1u << level->factor;
            sharing->mixes[level->lots[k]] += level->factor == FACTOR_MIX;
        }
    }
    return own_mixes;
}

int company_lots(const struct company_view *view, company_lot_each each, void *arg)
{
    size_t count = (size_t)view->lot_count + 1;
    struct sharing sharing = {xcalloc(count, sizeof *sharing.shared),
                              xcalloc(count, sizeof *sharing.mixes)};
    int own_mixes = mark_all(view, &sharing), answer = 0;
    for (int i = 0; i < view->lot_count && !answer; i++) {
        const struct company_view_lot *other = &view->lots[i];
        if (i == view->own)
            continue;
        struct company_lot lot = {other->lot->lot_id,
                                  other->lot->packed_from_ms,
                                  other->lot->packed_to_ms,
                                  other->lot->units,
                                  other->expected,
                                  (int)other->observed,
                                  plain_shared(view, other->lot) | sharing.shared[i],
                                  own_mixes ? (double)sharing.mixes[i] / own_mixes : 0};
        answer = each(arg, &lot);
    }
    free(sharing.shared);
    free(sharing.mixes);
    return answer;
}
