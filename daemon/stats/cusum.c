#include "stats/cusum.h"

#include <math.h>

double cusum_reference(double expected, double ratio, double size)
{
    if (!(expected >= 0) || !(ratio > 1) || !(size > 0))
        return NAN;
    if (isinf(size) || expected == 0)
        return expected * (ratio - 1.0) / log(ratio);
    double raised = ratio * expected;
    return size * log1p((raised - expected) / (expected + size)) /
           (log(ratio) - log1p((raised - expected) / (expected + size)));
}
