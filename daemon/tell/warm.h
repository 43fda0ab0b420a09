/* Bread that goes into the bag warm: the models leave out some of what that does. */
#ifndef ODDLOAF_TELL_WARM_H
#define ODDLOAF_TELL_WARM_H

#include "rank/triage.h"
#include <stdbool.h>

struct warm {
    double core_c, room_c; /* at packing; NAN: not known. Of the room the models' own stands in. */
};
/* Warmer than its room by more than does no harm? False, too, of what is not known. */
bool warm_packed(const struct triage *triage, struct warm *warm);

#endif
