/* Cumulative sums of counts: the sharpest look for a lasting rise of a stated size.
 *
 * S = max(0, S + x - reference); a signal is S >= h (S > h is a different design with another run
 * length). */
#ifndef ODDLOAF_STATS_CUSUM_H
#define ODDLOAF_STATS_CUSUM_H

/* Reference value in counts for a rise of the rate by `ratio` (above 1) when `expected` is usual:
 * Poisson (size INFINITY) e (ratio - 1) / log ratio (J. M. Lucas, "Counted data CUSUM's",
 * Technometrics 27 (1985) 129-144); negative binomial of that size the same by its own likelihood
 * ratio. NAN outside the domain. */
double cusum_reference(double expected, double ratio, double size);

#endif
