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

int company_lots(const struct company_view *view, company_lot_each each, void *arg)
{
    int count, answer = 0;
    const struct company_day_share *shares = company_own_shares(view, &count);
    struct level *levels = xcalloc((size_t)count + 1, sizeof *levels);
    for (int i = 0; i < view->lot_count && !answer; i++) {
        const struct company_view_lot *other = &view->lots[i];
        if (i == view->own)
            continue;
        for (int s = 0; s < count; s++)
            levels[s] = (struct level){0};
        struct company_lot lot = {other->lot->lot_id,
                                  other->lot->packed_from_ms,
                                  other->lot->packed_to_ms,
                                  other->lot->units,
                                  other->expected,
                                  (int)other->observed,
                                  plain_shared(view, other->lot),
                                  0};
        double mixes = 0, same = 0;
        company_levels_add(other, shares, count, levels);
        for (int s = 0; s < count; s++) {
            if (levels[s].lots)
                lot.shared |= 1u << shares[s].factor;
            mixes += shares[s].factor == FACTOR_MIX;
            same += shares[s].factor == FACTOR_MIX && levels[s].lots;
        }
        lot.same_share = mixes > 0 ? same / mixes : 0;
        answer = each(arg, &lot);
    }
    free(levels);
    return answer;
}
