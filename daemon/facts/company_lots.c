/* The other lots of a view, with what they share: for reach. */
#include "base/text.h"
#include "facts/company_inside.h"
#include <stdlib.h>

static unsigned plain_shared(const struct company_view *view, const struct company_day_lot *lot)
{
    unsigned shared = 0;
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
    int factor;
    unsigned *shared; /* bits, by lot */
    int *mixes;
};

static void mark_sharer(void *arg, int lot, const struct company_day_share *share)
{
    const struct sharing *sharing = arg;
    (void)share;
    sharing->shared[lot] |= 1u << sharing->factor;
    sharing->mixes[lot] += sharing->factor == FACTOR_MIX;
}

static int mark_all(const struct company_view *view, struct sharing *sharing)
{
    int count, own_mixes = 0;
    const struct company_day_share *shares = company_own_shares(view, &count);
    for (int i = 0; i < count; i++) {
        sharing->factor = shares[i].factor;
        own_mixes += sharing->factor == FACTOR_MIX;
        if (!company_is_trade(sharing->factor) && !company_level_again(shares, i))
            company_sharers(view, sharing->factor, shares[i].key, mark_sharer, sharing);
    }
    return own_mixes;
}

int company_lots(const struct company_view *view, company_lot_each each, void *arg)
{
    size_t count = (size_t)view->lot_count + 1;
    struct sharing sharing = {0, xcalloc(count, sizeof *sharing.shared),
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
