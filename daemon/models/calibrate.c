#include "models/calibrate.h"

#include "base/error.h"
#include "base/text.h"
#include "models/normal.h"
#include "models/staling.h"

#include <math.h>
#include <stdlib.h>

enum { DIM = 3, TIME = 0, SPORES = 1, SPREAD = 2 };

static const double prior_mean[DIM] = {0, 0, -1.6}; /* logs; spread near 0.2 */
static const double prior_sigma[DIM] = {0.7, 1.5, 0.6};
static const double stray_share = 0.02; /* packs that follow no model */
static const double z95 = 1.6448536269514722;

struct data {
    const struct calibrate_sample *samples;
    size_t count;
};

/* Chance of one sample at one time factor. */
static double sample_chance(const struct calibrate_sample *s, double time, double spores)
{
    if (s->none_yet) {
        return exp(-s->course->spores * spores *
                   mold_spores_visible_scaled(s->course, s->days, time));
    }
    return mold_found_chance_scaled(s->course, s->days, s->look_days, time, spores);
}

static double stray_chance(const struct calibrate_sample *s)
{
    double horizon = s->course->horizon_days;
    return s->none_yet ? fmax(1 - s->days / horizon, 0.01) : fmin(s->look_days / horizon, 1);
}

static double log_likelihood(const struct data *data, const double at[DIM])
{
    double spread = exp(at[SPREAD]);
    double factor[NORMAL_NODES];
    double sum = 0;
    for (int k = 0; k < NORMAL_NODES; k++) {
        factor[k] = exp(at[TIME] + spread * normal_node(k));
    }
    for (size_t i = 0; i < data->count; i++) {
        const struct calibrate_sample *s = &data->samples[i];
        double chance = 0;
        for (int k = 0; k < NORMAL_NODES; k++) {
            chance += normal_weight(k) * sample_chance(s, factor[k], exp(at[SPORES]));
        }
        sum += log((1 - stray_share) * chance + stray_share * stray_chance(s));
    }
    return sum;
}

/* Minus the log posterior: what is minimized. */
static double objective(const struct data *data, const double at[DIM])
{
    double penalty = 0;
    for (int d = 0; d < DIM; d++) {
        double z = (at[d] - prior_mean[d]) / prior_sigma[d];
        penalty += z * z / 2;
    }
    return penalty - log_likelihood(data, at);
}

struct corner {
    double at[DIM];
    double value;
};

static void sort_corners(struct corner simplex[DIM + 1])
{
    for (int i = 1; i <= DIM; i++) {
        struct corner c = simplex[i];
        int j = i;
        for (; j > 0 && simplex[j - 1].value > c.value; j--) {
            simplex[j] = simplex[j - 1];
        }
        simplex[j] = c;
    }
}

/* The point centre + step (centre - worst). */
static struct corner reflected(const struct data *data, const struct corner simplex[DIM + 1],
                               double step)
{
    struct corner c;
    for (int d = 0; d < DIM; d++) {
        double centre = 0;
        for (int i = 0; i < DIM; i++) {
            centre += simplex[i].at[d] / DIM;
        }
        c.at[d] = centre + step * (centre - simplex[DIM].at[d]);
    }
    c.value = objective(data, c.at);
    return c;
}

static void shrink(const struct data *data, struct corner simplex[DIM + 1])
{
    for (int i = 1; i <= DIM; i++) {
        for (int d = 0; d < DIM; d++) {
            simplex[i].at[d] = (simplex[i].at[d] + simplex[0].at[d]) / 2;
        }
        simplex[i].value = objective(data, simplex[i].at);
    }
}

/* Nelder, Mead 1965 Comput J 7:308. */
static void minimize(const struct data *data, double at[DIM])
{
    struct corner simplex[DIM + 1];
    for (int i = 0; i <= DIM; i++) {
        for (int d = 0; d < DIM; d++) {
            simplex[i].at[d] = at[d] + (i == d + 1 ? 0.4 : 0);
        }
        simplex[i].value = objective(data, simplex[i].at);
    }
    for (int round = 0; round < 400; round++) {
        sort_corners(simplex);
        if (simplex[DIM].value - simplex[0].value < 1e-9) {
            break;
        }
        struct corner c = reflected(data, simplex, 1);
        if (c.value < simplex[0].value) {
            struct corner further = reflected(data, simplex, 2);
            simplex[DIM] = further.value < c.value ? further : c;
        } else if (c.value < simplex[DIM - 1].value) {
            simplex[DIM] = c;
        } else {
            struct corner inner =
                reflected(data, simplex, c.value < simplex[DIM].value ? 0.5 : -0.5);
            if (inner.value < fmin(c.value, simplex[DIM].value)) {
                simplex[DIM] = inner;
            } else {
                shrink(data, simplex);
            }
        }
    }
    sort_corners(simplex);
    for (int d = 0; d < DIM; d++) {
        at[d] = simplex[0].at[d];
    }
}

static double moved(const struct data *data, const double at[DIM], int a, double by_a, int b,
                    double by_b)
{
    double point[DIM];
    for (int d = 0; d < DIM; d++) {
        point[d] = at[d];
    }
    point[a] += by_a;
    point[b] += by_b;
    return objective(data, point);
}

/* Variances from the inverse of the second derivatives at the maximum. */
static void variances(const struct data *data, const double at[DIM], double ret_variance[DIM])
{
    const double h = 0.02;
    double m[DIM][DIM];
    double middle = objective(data, at);
    for (int a = 0; a < DIM; a++) {
        m[a][a] =
            (moved(data, at, a, h, a, 0) - 2 * middle + moved(data, at, a, -h, a, 0)) / (h * h);
        for (int b = 0; b < a; b++) {
            m[a][b] = (moved(data, at, a, h, b, h) - moved(data, at, a, h, b, -h) -
                       moved(data, at, a, -h, b, h) + moved(data, at, a, -h, b, -h)) /
                      (4 * h * h);
            m[b][a] = m[a][b];
        }
    }
    double cofactor[DIM];
    for (int a = 0; a < DIM; a++) {
        int b = (a + 1) % DIM;
        int c = (a + 2) % DIM;
        cofactor[a] = m[b][b] * m[c][c] - m[b][c] * m[c][b];
    }
    double determinant = m[0][0] * cofactor[0] - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
                         m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    for (int a = 0; a < DIM; a++) {
        double variance = cofactor[a] / determinant;
        /* a ridge or a saddle tells nothing: the prior's spread is what is known then */
        bool sound = variance > 0 && variance < prior_sigma[a] * prior_sigma[a];
        ret_variance[a] = sound ? variance : prior_sigma[a] * prior_sigma[a];
    }
}

static struct calibrate_factor factor_of(double log_value, double sigma)
{
    struct calibrate_factor f = {exp(log_value), exp(log_value - z95 * sigma),
                                 exp(log_value + z95 * sigma)};
    return f;
}

/* Chance under the fit that this pack had shown by `days`. */
static double shown_by(const struct calibrate_sample *s, const double at[DIM], double days)
{
    double chance = 0;
    for (int k = 0; k < NORMAL_NODES; k++) {
        double time = exp(at[TIME] + exp(at[SPREAD]) * normal_node(k));
        double share = mold_spores_visible_scaled(s->course, days, time);
        chance += normal_weight(k) * -expm1(-s->course->spores * exp(at[SPORES]) * share);
    }
    return chance;
}

/* Mold-free days with the fitted factors; the fit scales work, so the age is searched. */
static double fitted_days(const struct calibrate_sample *s, const double at[DIM])
{
    double ever = -expm1(-s->course->spores * exp(at[SPORES]));
    double low = 0;
    double high = s->course->horizon_days;
    for (int i = 0; i < 40; i++) {
        double middle = (low + high) / 2;
        if (shown_by(s, at, middle) < ever / 2) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return (low + high) / 2;
}

static void fill_residuals(const struct data *data, const double at[DIM],
                           struct calibrate_residual *residuals)
{
    for (size_t i = 0; residuals && i < data->count; i++) {
        const struct calibrate_sample *s = &data->samples[i];
        double seen = s->none_yet ? s->days : s->days - s->look_days / 2;
        residuals[i].predicted_days = fitted_days(s, at);
        residuals[i].log_ratio = log(fmax(seen, 0.25) / residuals[i].predicted_days);
        residuals[i].position = shown_by(s, at, seen);
    }
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Largest gap between the positions of the found samples, each over its chance to be found
 * within the horizon, and the uniform distribution. */
static double position_gap(const struct data *data, const double at[DIM], size_t found)
{
    double *position = xcalloc(found, sizeof *position);
    double gap = 0;
    size_t n = 0;
    for (size_t i = 0; i < data->count; i++) {
        const struct calibrate_sample *s = &data->samples[i];
        if (!s->none_yet) {
            position[n++] = shown_by(s, at, s->days - s->look_days / 2) /
                            shown_by(s, at, s->course->horizon_days);
        }
    }
    qsort(position, n, sizeof *position, by_value);
    for (size_t i = 0; i < n; i++) {
        gap = fmax(gap, ((double)i + 1) / (double)n - position[i]);
        gap = fmax(gap, position[i] - (double)i / (double)n);
    }
    free(position);
    return gap;
}

int calibrate_mold(const struct calibrate_sample *samples, size_t count,
                   struct calibrate_residual *residuals, struct calibrate_fit *ret_fit,
                   struct error *err)
{
    struct data data = {samples, count};
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        if (!samples[i].course->valid) {
            return error_set(err, ERROR_INVALID, "retained sample %zu: %s", i + 1,
                             samples[i].course->reason);
        }
        if (!(samples[i].days > 0) || !(samples[i].look_days > 0)) {
            return error_set(err, ERROR_INVALID, "retained sample %zu: days must be above 0",
                             i + 1);
        }
        found += samples[i].none_yet ? 0 : 1;
    }
    if (count < 5 || found < 3) {
        return error_set(err, ERROR_INVALID,
                         "%zu retained samples with %zu found moldy are too few to calibrate: "
                         "5 samples and 3 found are needed",
                         count, found);
    }
    double at[DIM] = {0, 0, prior_mean[SPREAD]};
    double variance[DIM];
    minimize(&data, at);
    variances(&data, at, variance);
    ret_fit->time = factor_of(at[TIME], sqrt(variance[TIME]));
    ret_fit->spores = factor_of(at[SPORES], sqrt(variance[SPORES]));
    ret_fit->lot_sigma = exp(at[SPREAD]);
    ret_fit->predictive =
        factor_of(at[TIME], sqrt(variance[TIME] + ret_fit->lot_sigma * ret_fit->lot_sigma));
    double before[DIM] = {0, 0, at[SPREAD]};
    ret_fit->log_likelihood = log_likelihood(&data, at);
    ret_fit->log_likelihood_before = log_likelihood(&data, before);
    ret_fit->samples = count;
    ret_fit->found = found;
    ret_fit->position_ks = position_gap(&data, at, found);
    fill_residuals(&data, at, residuals);
    return 0;
}
