#include "stats/mack.h"

#include <math.h>

#include "base/error.h"

struct triangle {
    size_t n;
    double at[MACK_MOST][MACK_MOST]; /* cumulative, completed by the factors */
};

static int accumulate(const double *incremental, size_t n, struct triangle *t)
{
    t->n = n;
    for (size_t i = 0; i < n; i++) {
        double sum = 0;
        for (size_t k = 0; i + k < n; k++)
            t->at[i][k] = sum += incremental[i * n + k];
        if (!isfinite(sum))
            return ERROR_INVALID;
    }
    return 0;
}

/* Sum of column k over the periods that also show k + 1. */
static double column_sum(const struct triangle *t, size_t k)
{
    double sum = 0;
    for (size_t i = 0; i + k + 1 < t->n; i++)
        sum += t->at[i][k];
    return sum;
}

static int develop(const struct triangle *t, struct mack *m)
{
    size_t n = t->n;
    for (size_t k = 0; k + 1 < n; k++) {
        double from = column_sum(t, k), to = 0, spread = 0;
        for (size_t i = 0; i + k + 1 < n; i++)
            to += t->at[i][k + 1];
        if (!(from > 0) || !(to > 0))
            return ERROR_INVALID;
        m->factor[k] = to / from;
        for (size_t i = 0; i + k + 1 < n; i++) {
            if (!(t->at[i][k] > 0))
                continue;
            double off = t->at[i][k + 1] / t->at[i][k] - m->factor[k];
            spread += t->at[i][k] * off * off;
        }
        if (k + 2 < n)
            m->sigma2[k] = spread / (double)(n - k - 2);
    }
    double last = m->sigma2[n - 3], before = n > 3 ? m->sigma2[n - 4] : last;
    double extrapolated = before > 0 ? last * last / before : 0.0;
    m->sigma2[n - 2] = fmin(extrapolated, fmin(before, last));
    return 0;
}

static void complete(struct triangle *t, struct mack *m)
{
    size_t n = t->n;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = n - i; k < n; k++)
            t->at[i][k] = t->at[i][k - 1] * m->factor[k - 1];
        m->ultimate[i] = t->at[i][n - 1];
        m->reserve[i] = m->ultimate[i] - t->at[i][n - 1 - i];
        m->total_reserve += m->reserve[i];
    }
}

static void errors(const struct triangle *t, struct mack *m)
{
    size_t n = t->n;
    double total = 0;
    for (size_t i = 1; i < n; i++) {
        double own = 0, shared = 0, younger = 0, u = m->ultimate[i];
        for (size_t k = n - 1 - i; k + 1 < n; k++) {
            double relative = m->sigma2[k] / (m->factor[k] * m->factor[k]);
            if (t->at[i][k] > 0)
                own += relative / t->at[i][k];
            shared += relative / column_sum(t, k);
        }
        for (size_t j = i + 1; j < n; j++)
            younger += m->ultimate[j];
        double mse = u * u * (own + shared);
        m->se[i] = sqrt(mse);
        total += mse + 2.0 * u * younger * shared;
    }
    m->total_se = sqrt(total);
}

int mack_fit(const double *incremental, size_t n, struct mack *ret)
{
    struct triangle t;
    struct mack m = {.n = n};
    if (n < 3 || n > MACK_MOST || accumulate(incremental, n, &t) != 0 || develop(&t, &m) != 0)
        return ERROR_INVALID;
    complete(&t, &m);
    errors(&t, &m);
    *ret = m;
    return 0;
}
