/* Run lengths of cumulative sums of counts with varying expectation: what the table of limits of
 * patterns/week_chart.c was made with, and is checked by. Run lengths are those from a fresh start,
 * S = 0, unless said otherwise; a signal is S >= h. */
#ifndef TESTS_CUSUM_COUNTS_H
#define TESTS_CUSUM_COUNTS_H

#include <stddef.h>

/* A design: S = max(0, S + x - reference), expectations known period by period. */
struct cusum_counts {
    const double *expected; /* per period, of n */
    const double *sizes;    /* negative binomial sizes per period; NULL: Poisson throughout */
    size_t n;
    double ratio; /* the rise looked for */
};

/* Run length when every rate is `actual` times what is expected (1: in control), expectations
 * repeated in cycles of n. Exact Markov chain if all references and h are whole multiples of
 * 1/den for a den up to 64; otherwise on a fine grid with mass split between neighbours
 * (within about 1 %). `start` is a head start. ERROR_INVALID for bad input or h below 1/4; INFINITY
 * is returned where a signal is practically impossible (beyond 1e9 periods). */
int cusum_counts_run_length(const struct cusum_counts *design, double h, double start,
                            double actual, double *ret);

/* Smallest h (to 0.5 %) whose run length in control is at least `run_length` periods, but never
 * below half a count: with large expectations a count above the reference is rare enough by itself,
 * and then a smaller `ratio` is the sharper design. ERROR_INVALID for run lengths of 2 or less or
 * beyond 1e6. */
int cusum_counts_limit(const struct cusum_counts *design, double run_length, double *ret);

#endif
