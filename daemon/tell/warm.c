#include "tell/warm.h"
#include "rank/case_rank.h"
#include <math.h>

/* A loaf no warmer than that over its room does not sweat: engineering inference. */
static const double WARM_BY_C = 2;

bool warm_packed(const struct triage *triage, struct warm *warm)
{
    if (isnan(warm->room_c))
        warm->room_c = triage->models.typical.wet.pack_room_c;
    return warm->core_c >= warm->room_c + WARM_BY_C;
}
