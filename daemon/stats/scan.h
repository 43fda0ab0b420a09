/* Where and when within a series the counts are thickest: Kulldorff's scan for Poisson counts over
 * every interval up to a length (M. Kulldorff, "A spatial scan statistic", Communications in
 * Statistics: Theory and Methods 26 (1997) 1481-1496). Finds the hours of a line, honestly tested
 * for having looked everywhere. */
#ifndef ODDLOAF_STATS_SCAN_H
#define ODDLOAF_STATS_SCAN_H

#include <stddef.h>

struct scan_series {
    const long *counts;
    const double *exposure; /* what was made in each cell; 0 is a gap */
    const int *group;       /* cells of different groups (lines, days) never share an interval; each
                               group's cells are consecutive. NULL: all one group */
    size_t n;
    size_t longest; /* cells an interval may span */
};

struct scan_result {
    size_t first, last; /* cells of the best interval */
    double observed, expected;
    double log_ratio; /* 0 if no interval has more than expected */
    double p;         /* Monte Carlo, given the total and the exposure */
    size_t draws;     /* made to find it: stops early once 20 draws did as well or better */
};

/* c log(c/E) + (C-c) log((C-c)/(C-E)) where c > E, else 0; E is scaled so that its total is C. */
double scan_log_ratio(double observed, double expected, double total);

/* The same seed gives the same p. Of tied intervals the earliest wins, then the shortest.
 * `draws` 999 tells p down to 0.001. ERROR_INVALID for no cells, negative or non-finite input,
 * counts without exposure, a `longest` of 0, or nothing counted. */
int scan_intervals(const struct scan_series *series, size_t draws, unsigned long seed,
                   struct scan_result *ret);

#endif
