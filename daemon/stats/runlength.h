/* Integral equations of run lengths, L(u) = 1 + L(0) atom(u) + integral of L(y) kernel(y, u) dy, by
 * Gauss-Legendre quadrature: shared by CUSUM and EWMA charts of normal values. */
#ifndef ODDLOAF_STATS_RUNLENGTH_H
#define ODDLOAF_STATS_RUNLENGTH_H

struct runlength_equation {
    double low, high; /* where the statistic lives without a signal */
    double (*kernel)(double y, double u, const void *chart);
    double (*atom)(double u, const void *chart); /* probability to fall back to `low`; or NULL */
    const void *chart;
};

/* L(start). ERROR_INVALID if the equation has no finite solution. */
int runlength_solve(const struct runlength_equation *e, double start, double *ret);

#endif
