/* What fell: levels that over four weeks brought fewer complaints than they should have, with the
 * false-discovery rate held across all that were looked at. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_FALLS_H
#define ODDLOAF_PATTERNS_WEEK_FALLS_H

#include "patterns/week_expect.h"

enum { WEEK_FALL_WEEKS = 4 };

struct week_fall {
    size_t level; /* index of the data's levels */
    int symptom;
    double observed, expected; /* in those weeks */
    double p;
};
/* The surest first; of a symptom that fell altogether, only that. malloc'd. */
struct week_fall *week_falls(const struct week_model *model, size_t *ret_count);

#endif
