/* Roots of a function of one variable. Pure, bounded work, no allocation. */
#ifndef ODDLOAF_STATS_SOLVE_H
#define ODDLOAF_STATS_SOLVE_H

typedef double (*solve_function)(double x, void *context);

/* Root of `f` in [low, high], where f(low) and f(high) differ in sign (or one is 0), by Brent's
 * method (R. P. Brent, "Algorithms for Minimization without Derivatives", 1973, ch. 4) to an
 * absolute `tolerance` in x. 0, or ERROR_INVALID when the signs agree or f is not a number. */
int solve_bracketed(solve_function f, void *context, double low, double high, double tolerance,
                    double *ret);

/* Where the root of a monotone function is looked for: from `guess` on by steps that double from
 * `step`, within [floor, ceiling]. */
struct solve_range {
    double guess, step, floor, ceiling;
};
/* As above for a monotone `f`. ERROR_INVALID if its sign never changes. */
int solve_monotone(solve_function f, void *context, struct solve_range range, double tolerance,
                   double *ret);

#endif
