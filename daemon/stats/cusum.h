/* Cumulative sums: the sharpest look for a lasting rise of a stated size.
 *
 * Upper sums only where a rise is what hurts; a signal is S >= h (S > h is a different design with
 * another run length). Run lengths are those from a fresh start, S = 0, unless said otherwise. */
#ifndef ODDLOAF_STATS_CUSUM_H
#define ODDLOAF_STATS_CUSUM_H

#include <stdbool.h>
#include <stddef.h>

/* ---- normal values, in units of sigma -------------------------------------------------------- */

/* Tabular sums about `target`: high[i] = max(0, high[i-1] + x - target - k), low[i] likewise down.
 * Either output may be NULL. */
void cusum_normal_run(const double *x, size_t n, double target, double k, double *ret_high,
                      double *ret_low);

/* Run length of the one-sided sum with reference k, limit h and head start `start`, the mean off by
 * `shift` (integral equation of E. S. Page, Biometrika 41 (1954) 100-115). ERROR_INVALID unless
 * k >= 0, h > 0 and 0 <= start < h. */
int cusum_normal_run_length(double k, double h, double start, double shift, double *ret);

/* Both sides together, without head start: 1/L = 1/L(shift) + 1/L(-shift). */
int cusum_normal_two_sided(double k, double h, double shift, double *ret);

/* Limit h for a stated run length in control. ERROR_INVALID for run lengths of 2 or less or beyond
 * 1e7. */
int cusum_normal_limit(double k, double run_length, bool two_sided, double *ret);

/* ---- counts with varying expectation --------------------------------------------------------- */

/* Reference value in counts for a rise of the rate by `ratio` (above 1) when `expected` is usual:
 * Poisson (size INFINITY) e (ratio - 1) / log ratio (J. M. Lucas, "Counted data CUSUM's",
 * Technometrics 27 (1985) 129-144); negative binomial of that size the same by its own likelihood
 * ratio. NAN outside the domain. */
double cusum_reference(double expected, double ratio, double size);

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

struct cusum_state {
    double sum;
    bool signal;  /* sum >= h at the end */
    size_t since; /* first period of the present climb: the likely start of the rise; n if S = 0 */
    double observed, expected; /* sums over that climb */
};

/* Runs the design over x[0..n-1]; `ret_sums` (n values) may be NULL. The sum is not reset by a
 * signal: it says how long trouble has lasted. */
int cusum_counts_run(const struct cusum_counts *design, const double *x, double h,
                     struct cusum_state *ret, double *ret_sums);

#endif
