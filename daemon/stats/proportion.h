/* A share with its interval: x of n. */
#ifndef ODDLOAF_STATS_PROPORTION_H
#define ODDLOAF_STATS_PROPORTION_H

#include "stats/interval.h"

/* Wilson's score interval, which keeps its width where all or none were (E. B. Wilson, "Probable
 * inference, the law of succession, and statistical inference", Journal of the American Statistical
 * Association 22 (1927) 209-212). 0 <= x <= n; both limits NAN where n is 0. */
struct interval proportion_wilson(double x, double n, double confidence);

#endif
