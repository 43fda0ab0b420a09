/* Many questions at once: p-values adjusted so that a list of signals keeps its promise. */
#ifndef ODDLOAF_STATS_MULTIPLICITY_H
#define ODDLOAF_STATS_MULTIPLICITY_H

#include <stddef.h>

/* Benjamini-Hochberg adjusted p-values (q): of the signals with q <= x, at most the share x is
 * expected to be false (Y. Benjamini & Y. Hochberg, Journal of the Royal Statistical Society B 57
 * (1995) 289-300). `ret_q` may be `p`. Order is kept. ERROR_INVALID if a p is outside [0, 1]. */
int multiplicity_benjamini_hochberg(const double *p, size_t n, double *ret_q);

#endif
