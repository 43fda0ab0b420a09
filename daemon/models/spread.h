/* Low, typical and high of a result from low, typical and high of the parameters.
 *
 * Parameters that stand or fall together make one direction. The response is taken at
 * both ends of each direction with all others typical; its deviations in the log add up
 * in quadrature on each side (first-order propagation, directions taken as independent),
 * never past the response with all directions at that side's ends. */
#ifndef ODDLOAF_MODELS_SPREAD_H
#define ODDLOAF_MODELS_SPREAD_H

#include "models/parameters.h"

struct spread_range {
    double low, typical, high;
};

/* `repeat` runs of `run` doubles, `stride` bytes apart, from `offset` in models_values. */
struct spread_direction {
    size_t offset, run, stride, repeat;
};

/* The response to one set of values; positive. `guess` is the typical response, or NAN. */
typedef double (*spread_response)(const struct models_values *values, const void *context,
                                  double guess);

struct spread_range spread_over(const struct models_parameters *parameters,
                                const struct spread_direction *directions, size_t count,
                                spread_response response, const void *context);

#endif
