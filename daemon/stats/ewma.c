#include "stats/ewma.h"

#include <gsl/gsl_randist.h>
#include <math.h>

#include "base/error.h"
#include "stats/runlength.h"
#include "stats/solve.h"

void ewma_run(const double *x, size_t n, double lambda, double start, double *ret)
{
    double at = start;
    for (size_t i = 0; i < n; i++)
        ret[i] = at = lambda * x[i] + (1.0 - lambda) * at;
}

double ewma_half_width(double lambda, double sigma, double width, size_t t)
{
    double settled = t ? -expm1(2.0 * (double)t * log1p(-lambda)) : 1.0;
    return width * sigma * sqrt(lambda / (2.0 - lambda) * settled);
}

struct chart {
    double lambda, shift;
};

static double kernel(double y, double u, const void *context)
{
    const struct chart *c = context;
    return gsl_ran_ugaussian_pdf((y - (1.0 - c->lambda) * u) / c->lambda - c->shift) / c->lambda;
}

int ewma_run_length(double lambda, double width, double shift, double *ret)
{
    if (!(lambda >= 0.01 && lambda <= 1.0) || !(width > 0) || !isfinite(width + shift))
        return ERROR_INVALID;
    struct chart c = {lambda, shift};
    double half = ewma_half_width(lambda, 1.0, width, 0);
    struct runlength_equation e = {.low = -half, .high = half, .kernel = kernel, .chart = &c};
    return runlength_solve(&e, 0.0, ret);
}

struct width_search {
    double lambda, log_target;
};

static double length_difference(double width, void *context)
{
    const struct width_search *s = context;
    double length;
    return ewma_run_length(s->lambda, width, 0.0, &length) == 0 ? log(length) - s->log_target : NAN;
}

int ewma_width(double lambda, double run_length, double *ret)
{
    if (!(run_length > 2.0 && run_length <= 1e7))
        return ERROR_INVALID;
    struct width_search s = {lambda, log(run_length)};
    return solve_monotone(length_difference, &s, 2.5, 0.5, 0.05, 6.5, 1e-9, ret);
}
