#include "stats/glm.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/error.h"

#define ITERATIONS_MOST 60
#define HALVINGS_MOST 30
#define ETA_MOST 300.0

static double weight_at(const struct glm_data *d, size_t i)
{
    return d->weights ? d->weights[i] : 1.0;
}

static double offset_at(const struct glm_data *d, size_t i)
{
    return d->offset ? d->offset[i] : 0.0;
}

static double linear(const struct glm_data *d, const double *beta, size_t i)
{
    double eta = offset_at(d, i);
    for (size_t j = 0; j < d->p; j++)
        eta += d->x[i * d->p + j] * beta[j];
    return fmax(-ETA_MOST, fmin(ETA_MOST, eta));
}

static double deviance(const struct glm_data *d, const double *beta)
{
    double sum = 0;
    for (size_t i = 0; i < d->n; i++) {
        double mean = exp(linear(d, beta, i)), y = d->y[i];
        sum += weight_at(d, i) * ((y > 0 ? y * log(y / mean) : 0.0) - (y - mean));
    }
    return 2.0 * sum;
}

/* Cholesky factor in the lower half; false if not positive definite (to rounding). */
static bool factor(double a[GLM_MOST][GLM_MOST], size_t p)
{
    assert(p > 0 && p <= GLM_MOST);
    for (size_t j = 0; j < p; j++) {
        double diagonal = a[j][j];
        for (size_t k = 0; k < j; k++)
            diagonal -= a[j][k] * a[j][k];
        if (!(diagonal > 1e-11 * a[j][j]))
            return false;
        a[j][j] = sqrt(diagonal);
        for (size_t i = j + 1; i < p; i++) {
            for (size_t k = 0; k < j; k++)
                a[i][j] -= a[i][k] * a[j][k];
            a[i][j] /= a[j][j];
        }
    }
    return true;
}

static void back_solve(double l[GLM_MOST][GLM_MOST], size_t p, double *b)
{
    assert(p > 0 && p <= GLM_MOST);
    for (size_t i = 0; i < p; i++) {
        for (size_t k = 0; k < i; k++)
            b[i] -= l[i][k] * b[k];
        b[i] /= l[i][i];
    }
    for (size_t i = p; i-- > 0;) {
        for (size_t k = i + 1; k < p; k++)
            b[i] -= l[k][i] * b[k];
        b[i] /= l[i][i];
    }
}

/* Information matrix, and the score if wanted, at beta. */
static void information(const struct glm_data *d, const double *beta,
                        double ret_matrix[GLM_MOST][GLM_MOST], double *ret_score)
{
    assert(d->p > 0 && d->p <= GLM_MOST);
    for (size_t j = 0; j < d->p; j++)
        memset(ret_matrix[j], 0, d->p * sizeof(double));
    memset(ret_score, 0, d->p * sizeof(double));
    for (size_t i = 0; i < d->n; i++) {
        const double *row = d->x + i * d->p;
        double mean = exp(linear(d, beta, i)), weight = weight_at(d, i);
        for (size_t j = 0; j < d->p; j++) {
            ret_score[j] += weight * (d->y[i] - mean) * row[j];
            for (size_t k = 0; k <= j; k++)
                ret_matrix[j][k] += weight * mean * row[j] * row[k];
        }
    }
}

/* Where to start: the log of the overall rate, by least squares onto the columns. */
static bool start(const struct glm_data *d, double *beta)
{
    double matrix[GLM_MOST][GLM_MOST] = {{0}}, total = 0, exposure = 0;
    for (size_t i = 0; i < d->n; i++) {
        total += weight_at(d, i) * d->y[i];
        exposure += weight_at(d, i) * exp(offset_at(d, i));
    }
    if (!(total > 0) || !(exposure > 0) || !isfinite(total) || !isfinite(exposure))
        return false;
    memset(beta, 0, d->p * sizeof *beta);
    for (size_t i = 0; i < d->n; i++) {
        const double *row = d->x + i * d->p;
        for (size_t j = 0; j < d->p; j++) {
            beta[j] += weight_at(d, i) * row[j] * log(total / exposure);
            for (size_t k = 0; k <= j; k++)
                matrix[j][k] += weight_at(d, i) * row[j] * row[k];
        }
    }
    if (!factor(matrix, d->p))
        return false;
    back_solve(matrix, d->p, beta);
    return true;
}

/* Newton steps, halved while they do not improve. */
static int iterate(const struct glm_data *d, double *beta, double *ret_deviance)
{
    double at = deviance(d, beta);
    for (int round = 0; round < ITERATIONS_MOST; round++) {
        double matrix[GLM_MOST][GLM_MOST], step[GLM_MOST], next[GLM_MOST], share = 1.0, then;
        information(d, beta, matrix, step);
        if (!factor(matrix, d->p))
            return ERROR_INVALID;
        back_solve(matrix, d->p, step);
        for (int halved = 0;; halved++) {
            for (size_t j = 0; j < d->p; j++)
                next[j] = beta[j] + share * step[j];
            then = deviance(d, next);
            if (then <= at + 1e-12 * (fabs(at) + 1.0) || halved >= HALVINGS_MOST)
                break;
            share *= 0.5;
        }
        memcpy(beta, next, d->p * sizeof *beta);
        if (isnan(then))
            return ERROR_INVALID;
        double gained = at - then;
        at = then;
        if (fabs(gained) <= 1e-12 * (fabs(at) + 0.1)) {
            *ret_deviance = at;
            return 0;
        }
    }
    return ERROR_INVALID;
}

static int covariance(const struct glm_data *d, struct glm *g)
{
    double matrix[GLM_MOST][GLM_MOST], unused[GLM_MOST];
    information(d, g->coefficient, matrix, unused);
    if (!factor(matrix, d->p))
        return ERROR_INVALID;
    for (size_t j = 0; j < d->p; j++) {
        double column[GLM_MOST] = {0};
        column[j] = 1.0;
        back_solve(matrix, d->p, column);
        for (size_t i = 0; i < d->p; i++)
            g->covariance[i][j] = column[i];
    }
    return 0;
}

static bool data_ok(const struct glm_data *d)
{
    if (d->p == 0 || d->p > GLM_MOST || d->n < d->p)
        return false;
    for (size_t i = 0; i < d->n; i++)
        if (!(d->y[i] >= 0) || !(weight_at(d, i) >= 0) || !isfinite(offset_at(d, i)))
            return false;
    return true;
}

int glm_poisson(const struct glm_data *data, struct glm *ret)
{
    struct glm g = {.p = data->p, .df = (double)data->n - (double)data->p};
    if (!data_ok(data) || !start(data, g.coefficient) ||
        iterate(data, g.coefficient, &g.deviance) != 0 || covariance(data, &g) != 0)
        return ERROR_INVALID;
    double chi_square = 0;
    for (size_t i = 0; i < data->n; i++) {
        double mean = exp(linear(data, g.coefficient, i)), off = data->y[i] - mean;
        chi_square += weight_at(data, i) * off * off / mean;
    }
    g.dispersion = g.df > 0 ? chi_square / g.df : 1.0;
    *ret = g;
    return 0;
}

double glm_predict(const struct glm *g, const double *row, double *ret_se)
{
    assert(g->p > 0 && g->p <= GLM_MOST);
    double eta = 0, variance = 0;
    for (size_t j = 0; j < g->p; j++) {
        eta += row[j] * g->coefficient[j];
        for (size_t k = 0; k < g->p; k++)
            variance += row[j] * row[k] * g->covariance[j][k];
    }
    if (ret_se)
        *ret_se = sqrt(variance);
    return eta;
}

void glm_fitted(const struct glm *g, const struct glm_data *data, double *ret_mean,
                double *ret_leverage)
{
    assert(g->p == data->p);
    for (size_t i = 0; i < data->n; i++) {
        double se, mean = exp(linear(data, g->coefficient, i));
        (void)glm_predict(g, data->x + i * data->p, &se);
        if (ret_mean)
            ret_mean[i] = mean;
        if (ret_leverage)
            ret_leverage[i] = weight_at(data, i) * mean * se * se;
    }
}
