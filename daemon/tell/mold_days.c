#include "tell/mold_days.h"
#include "base/jsonx.h"
#include <math.h>

static json_t *told(const struct mold_prediction *mold, double days)
{
    return jsonx_rounded(fmin(days, mold->horizon_days), 2);
}

json_t *mold_days_json(const struct mold_prediction *mold)
{
    const struct spread_range *days = &mold->mold_free_days;
    return json_pack("{s:o, s:o, s:o, s:b, s:b, s:s}", "low", told(mold, days->low), "typical",
                     told(mold, days->typical), "high", told(mold, days->high), "beyond",
                     days->typical > mold->horizon_days, "valid", mold->valid, "reason",
                     mold->reason);
}
