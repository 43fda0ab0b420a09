/* What is usual and how far from it a value lies, unmoved by a few wild values. */
#ifndef ODDLOAF_STATS_ROBUST_H
#define ODDLOAF_STATS_ROBUST_H

#include <stddef.h>

/* 1 / z(0.75): makes the median absolute deviation of a normal sample estimate its sigma. */
#define ROBUST_NORMAL 1.482602218505602

/* Quantile by linear interpolation at (n - 1) p (type 7 of R. J. Hyndman & Y. Fan, "Sample
 * quantiles in statistical packages", The American Statistician 50 (1996) 361-365). Reorders
 * `values`. NAN for n = 0 or p outside [0, 1]. NANs among the values are the caller's error. */
double robust_quantile(double *values, size_t n, double p);
double robust_median(double *values, size_t n); /* reorders `values` */

struct robust_scale {
    double median;
    double deviation; /* median absolute deviation x ROBUST_NORMAL */
};

/* Reorders and overwrites `values`. NANs for n = 0. */
struct robust_scale robust_measure(double *values, size_t n);

/* (value - median) / max(deviation, floor). The floor is the least spread that matters (say, the
 * resolution of the probe): more than half of the readings equal gives deviation 0, which must not
 * turn a last-digit wobble into a signal. 0 if both are 0 and the value is the median, else
 * +-INFINITY. */
double robust_z(double value, struct robust_scale scale, double floor);

#endif
