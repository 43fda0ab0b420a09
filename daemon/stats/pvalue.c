#include "stats/pvalue.h"

#include <assert.h>
#include <math.h>

void pvalue_from_masses(double below, double at, double above, struct pvalue *ret)
{
    assert(below >= 0 && at >= 0 && above >= 0);
    ret->less = fmin(1.0, below + at);
    ret->greater = fmin(1.0, above + at);
    ret->doubled = fmin(1.0, 2.0 * fmin(ret->less, ret->greater));
    ret->midp_less = fmin(1.0, below + 0.5 * at);
    ret->midp_greater = fmin(1.0, above + 0.5 * at);
    ret->midp_doubled = fmin(1.0, 2.0 * fmin(ret->midp_less, ret->midp_greater));
}
