#include "stats/dirichlet.h"

#include <assert.h>
#include <math.h>

#include "base/error.h"

/* Sum of positive finite weights, or NAN. */
static double total_weight(const double *weights, size_t n)
{
    double total = 0;
    for (size_t i = 0; i < n; i++)
        total += weights[i] > 0 ? weights[i] : NAN;
    return isfinite(total) && n > 0 ? total : NAN;
}

static double total_count(const double *counts, size_t n)
{
    double total = 0;
    for (size_t i = 0; i < n; i++)
        total += counts[i] >= 0 ? counts[i] : NAN;
    return isfinite(total) ? total : NAN;
}

int dirichlet_update(const double *prior, const double *counts, size_t n, double *ret_weights)
{
    assert(prior && counts && ret_weights);
    if (isnan(total_weight(prior, n)) || isnan(total_count(counts, n)))
        return ERROR_INVALID;
    for (size_t i = 0; i < n; i++)
        ret_weights[i] = prior[i] + counts[i];
    return 0;
}
