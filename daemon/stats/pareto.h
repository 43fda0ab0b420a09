/* The vital few: categories by size with running shares. */
#ifndef ODDLOAF_STATS_PARETO_H
#define ODDLOAF_STATS_PARETO_H

#include <stdbool.h>
#include <stddef.h>

struct pareto_row {
    const char *name; /* borrowed */
    double count;     /* may be a fraction: expected counts, sums of probabilities */
    double share;     /* of the total, set by pareto_order() */
    double cumulative;
    bool vital; /* up to and with the first row at which `cumulative` reaches the cut */
};

/* Sorts by count, largest first, ties by name; the row named `other` (may be NULL) comes last
 * whatever its size. `cut` is a share, usually 0.8. Rules: common practice, no source.
 * ERROR_INVALID for a negative or non-finite count; all shares are 0 if nothing was counted. */
int pareto_order(struct pareto_row *rows, size_t n, const char *other, double cut);

#endif
