/* Log-linear models of counts: Poisson likelihood, log link, offset, prior weights, by iteratively
 * reweighted least squares; quasi-Poisson through the dispersion
 * (P. McCullagh & J. A. Nelder, "Generalized Linear Models", 2nd ed. 1989, ch. 6). */
#ifndef ODDLOAF_STATS_GLM_H
#define ODDLOAF_STATS_GLM_H

#include <stddef.h>

enum {
    GLM_MOST = 16 /* coefficients */
};

struct glm_data {
    const double *x;       /* n rows of p values; a constant column is yours to add */
    const double *y;       /* counts, fractions allowed */
    const double *offset;  /* log exposure; NULL: 0 */
    const double *weights; /* prior weights; NULL: 1 */
    size_t n, p;
};

struct glm {
    size_t p;
    double coefficient[GLM_MOST];
    double covariance[GLM_MOST][GLM_MOST]; /* for dispersion 1 */
    double deviance, df;
    double dispersion; /* Pearson chi-square / df, as it is: floor it at 1 before inflating */
};

/* ERROR_INVALID for p = 0 or beyond GLM_MOST, n < p, negative counts, collinear columns, or no
 * convergence (a group of zeros only has no finite coefficient). */
int glm_poisson(const struct glm_data *data, struct glm *ret);

/* Linear predictor and its standard error (dispersion 1) at one row of x. */
double glm_predict(const struct glm *g, const double *row, double *ret_se);

/* Means and leverages (diagonal of the hat matrix) at the data; either may be NULL. */
void glm_fitted(const struct glm *g, const struct glm_data *data, double *ret_mean,
                double *ret_leverage);

#endif
