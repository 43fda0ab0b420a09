#include "stats/season.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "stats/inverse.h"

struct season_design season_design_for(double span)
{
    struct season_design d = {.period = SEASON_WEEKS, .outlier = SEASON_OUTLIER_2013};
    d.trend = span >= 0.5 * SEASON_WEEKS;
    d.harmonics = span >= 3.0 * SEASON_WEEKS ? 2 : span >= 1.5 * SEASON_WEEKS ? 1 : 0;
    return d;
}

static size_t terms_of(const struct season_design *d)
{
    return (d->trend ? 2u : 1u) + 2 * (size_t)d->harmonics;
}

/* One row of the design; the trend is in years so that columns are of like size. */
static void row_at(const struct season_design *d, double origin, double time, double *row)
{
    assert(d->period > 0 && d->harmonics >= 0 && d->harmonics <= SEASON_HARMONICS_MOST);
    size_t j = 0;
    row[j++] = 1.0;
    if (d->trend)
        row[j++] = (time - origin) / d->period;
    for (int k = 1; k <= d->harmonics; k++) {
        double angle = 2.0 * M_PI * k * time / d->period;
        row[j++] = cos(angle);
        row[j++] = sin(angle);
    }
}

struct arrays {
    double *x, *offset, *weights, *mean, *leverage;
};

static void arrays_free(struct arrays *a)
{
    free(a->x);
    free(a->offset);
    free(a->weights);
    free(a->mean);
    free(a->leverage);
}

/* Weights of the second fit; they sum to n. */
static void reweight(const struct glm_data *data, const struct glm *fit, double outlier,
                     struct arrays *a)
{
    double phi = fmax(1.0, fit->dispersion), sum = 0;
    glm_fitted(fit, data, a->mean, a->leverage);
    for (size_t i = 0; i < data->n; i++) {
        double residual =
            1.5 * (cbrt(data->y[i] * data->y[i]) * pow(a->mean[i], -1.0 / 6.0) - sqrt(a->mean[i]));
        double s = residual / sqrt(phi * fmax(1e-9, 1.0 - a->leverage[i]));
        a->weights[i] = s > outlier ? 1.0 / (s * s) : 1.0;
        sum += a->weights[i];
    }
    assert(sum > 0);
    for (size_t i = 0; i < data->n; i++)
        a->weights[i] *= (double)data->n / sum;
}

static void describe(struct season *s)
{
    assert(s->fit.p == terms_of(&s->design));
    s->dispersion = fmax(1.0, s->fit.dispersion);
    s->trend_p = 1.0;
    if (!s->design.trend || !(s->fit.df > 0))
        return;
    double se = sqrt(s->dispersion * s->fit.covariance[1][1]);
    s->trend = s->fit.coefficient[1] / s->design.period;
    s->trend_p = 2.0 * gsl_cdf_tdist_Q(fabs(s->fit.coefficient[1]) / se, s->fit.df);
}

static int prepare(const double *times, const double *exposure, size_t n, struct season *s,
                   struct arrays *a)
{
    size_t p = terms_of(&s->design);
    a->x = xcalloc(n * p, sizeof(double));
    a->offset = xcalloc(n, sizeof(double));
    a->weights = xcalloc(n, sizeof(double));
    a->mean = xcalloc(n, sizeof(double));
    a->leverage = xcalloc(n, sizeof(double));
    for (size_t i = 0; i < n; i++)
        s->origin += times[i] / (double)n;
    for (size_t i = 0; i < n; i++) {
        if (exposure && !(exposure[i] > 0))
            return ERROR_INVALID;
        row_at(&s->design, s->origin, times[i], a->x + i * p);
        a->offset[i] = exposure ? log(exposure[i]) : 0.0;
    }
    return isfinite(s->origin) ? 0 : ERROR_INVALID;
}

int season_fit(const double *times, const double *counts, const double *exposure, size_t n,
               const struct season_design *design, struct season *ret)
{
    struct season s = {.design = *design};
    if (design->harmonics < 0 || design->harmonics > SEASON_HARMONICS_MOST ||
        !(design->period > 0) || n < terms_of(design))
        return ERROR_INVALID;
    struct arrays a = {0};
    int status = prepare(times, exposure, n, &s, &a);
    struct glm_data data = {
        .x = a.x, .y = counts, .offset = a.offset, .n = n, .p = terms_of(design)};
    if (status == 0)
        status = glm_poisson(&data, &s.fit);
    if (status == 0 && design->outlier > 0) {
        reweight(&data, &s.fit, design->outlier, &a);
        data.weights = a.weights;
        status = glm_poisson(&data, &s.fit);
    }
    arrays_free(&a);
    if (status != 0)
        return status;
    describe(&s);
    *ret = s;
    return 0;
}

double season_expected(const struct season *s, double time, double exposure, double *ret_se)
{
    double row[GLM_MOST], se;
    row_at(&s->design, s->origin, time, row);
    double mean = exposure * exp(glm_predict(&s->fit, row, &se));
    if (ret_se)
        *ret_se = mean * se * sqrt(s->dispersion);
    return mean;
}

double season_size(double mean, double se, double dispersion)
{
    double extra = (dispersion - 1.0) * mean + se * se;
    return extra > 0 ? mean * mean / extra : INFINITY;
}
