/* Shewhart charts for counts.
 *
 * A point signals only strictly outside its limits: a count that equals the limit does not. */
#ifndef ODDLOAF_STATS_CHART_H
#define ODDLOAF_STATS_CHART_H

#include <stddef.h>

enum chart_kind {
    CHART_C, /* counts of equal opportunity */
    CHART_U, /* counts over an exposure: complaints a million units */
    CHART_P  /* share of a sample */
};

enum chart_limits {
    CHART_PLAIN,          /* Poisson or binomial spread alone */
    CHART_LANEY,          /* widened (or narrowed) by the spread seen between neighbours */
    CHART_LANEY_IF_NEEDED /* widened if the dispersion test says so (p < 0.05), never narrowed */
};

struct chart_point {
    double value, low, high; /* NANs where the size is 0 */
    double z;                /* (value - center) / its own sigma, Laney's factor not in it */
    int signal;              /* -1 below, 0, +1 above */
};

struct chart_summary {
    double center;
    double sigma_z;    /* Laney's factor in use: 1 when plain */
    double chi_square; /* sum (x - e)^2 / e (or its binomial form) over the baseline */
    double df, p;      /* n - 1, and P of more: small p means overdispersion */
};

struct chart_data {
    enum chart_kind kind;
    const double *counts;
    const double *sizes; /* exposures or sample sizes, NULL for CHART_C */
    size_t n;
    size_t baseline; /* so many first points set center, dispersion and Laney's factor: what is
                        judged need not judge itself. 0: all */
};
/* c, u or p chart with limits at `width` (3) sigma; *ret_points has room for all points. Laney's
 * factor is the mean moving range of z over d2 = 2/sqrt(pi) (D. B. Laney, "Improved control charts
 * for attributes", Quality Engineering 14 (2002) 531-537). ERROR_INVALID for negative or non-finite
 * input, a p count above its size, or a baseline without any exposure. */
int chart_counts(const struct chart_data *data, enum chart_limits limits, double width,
                 struct chart_summary *ret, struct chart_point *ret_points);

#endif
