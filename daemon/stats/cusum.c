#include "stats/cusum.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>

#include "base/error.h"
#include "stats/runlength.h"
#include "stats/solve.h"

void cusum_normal_run(const double *x, size_t n, double target, double k, double *ret_high,
                      double *ret_low)
{
    double high = 0, low = 0;
    for (size_t i = 0; i < n; i++) {
        high = fmax(0.0, high + x[i] - target - k);
        low = fmax(0.0, low - x[i] + target - k);
        if (ret_high)
            ret_high[i] = high;
        if (ret_low)
            ret_low[i] = low;
    }
}

struct chart {
    double k, shift;
};

static double kernel(double y, double u, const void *context)
{
    const struct chart *c = context;
    return gsl_ran_ugaussian_pdf(y + c->k - u - c->shift);
}

static double back_to_zero(double u, const void *context)
{
    const struct chart *c = context;
    return gsl_cdf_ugaussian_P(c->k - u - c->shift);
}

int cusum_normal_run_length(double k, double h, double start, double shift, double *ret)
{
    if (!(k >= 0) || !(h > 0) || !(start >= 0 && start < h) || !isfinite(k + h + shift))
        return ERROR_INVALID;
    struct chart c = {k, shift};
    struct runlength_equation e = {
        .low = 0, .high = h, .kernel = kernel, .atom = back_to_zero, .chart = &c};
    return runlength_solve(&e, start, ret);
}

int cusum_normal_two_sided(double k, double h, double shift, double *ret)
{
    double up, down;
    int status = cusum_normal_run_length(k, h, 0, shift, &up);
    if (status != 0)
        return status;
    /* the side facing away from a large shift practically never signals */
    if (cusum_normal_run_length(k, h, 0, -shift, &down) != 0)
        down = INFINITY;
    *ret = 1.0 / (1.0 / up + 1.0 / down);
    return 0;
}

struct limit_search {
    double k, log_target;
};

static double length_difference(double h, void *context)
{
    const struct limit_search *s = context;
    double length;
    return cusum_normal_run_length(s->k, h, 0, 0, &length) == 0 ? log(length) - s->log_target : NAN;
}

int cusum_normal_limit(double k, double run_length, bool two_sided, double *ret)
{
    if (!(run_length > 2.0 && run_length <= 1e7))
        return ERROR_INVALID;
    struct limit_search s = {k, log(two_sided ? 2.0 * run_length : run_length)};
    return solve_monotone(length_difference, &s, 4.0, 1.0, 1e-3, 40.0, 1e-9, ret);
}
