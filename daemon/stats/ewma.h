/* Exponentially weighted moving averages: a small lasting shift shows sooner than on a Shewhart
 * chart (S. W. Roberts, Technometrics 1 (1959) 239-250). */
#ifndef ODDLOAF_STATS_EWMA_H
#define ODDLOAF_STATS_EWMA_H

#include <stddef.h>

/* ret[i] = lambda x[i] + (1 - lambda) ret[i - 1], from `start`. The output may be the input. */
void ewma_run(const double *x, size_t n, double lambda, double start, double *ret);

/* Half width of the limits after `t` points (t = 0: in the long run):
 * width sigma sqrt(lambda / (2 - lambda) (1 - (1 - lambda)^(2t))). */
double ewma_half_width(double lambda, double sigma, double width, size_t t);

/* Average run length of the two-sided chart with long-run limits when the mean is off by `shift`
 * sigma, by the integral equation (S. V. Crowder, Technometrics 29 (1987) 401-407). ERROR_INVALID
 * unless 0.01 <= lambda <= 1 and width > 0. */
int ewma_run_length(double lambda, double width, double shift, double *ret);

/* Width for a stated run length in control. ERROR_INVALID for run lengths of 2 or less, or beyond
 * what double precision can tell (1e7). */
int ewma_width(double lambda, double run_length, double *ret);

#endif
