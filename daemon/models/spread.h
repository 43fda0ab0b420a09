/* Low, typical and high of a result from low, typical and high of the parameters.
 *
 * Parameters that stand or fall together make one direction. The response is taken at a
 * fixed set of settings of all directions (an additive recurrence, Roberts 2018, by the
 * logistic distribution whose 5 and 95 % are low and high, never past them); the 5 and 95 %
 * of the responses in order are the range. The settings are the same for every lot and no
 * arithmetic is done on the responses: what makes each of them larger makes the range's ends
 * larger, and a response may be INFINITY. */
#ifndef ODDLOAF_MODELS_SPREAD_H
#define ODDLOAF_MODELS_SPREAD_H

#include "models/parameters.h"

struct spread_range {
    double low, typical, high; /* low <= typical <= high */
};

/* `repeat` runs of `run` doubles, `stride` bytes apart, from `offset` in models_values. */
struct spread_direction {
    size_t offset, run, stride, repeat;
};

/* The response to one set of values; INFINITY for never. `guess` is the typical response, or
 * NAN. */
typedef double (*spread_response)(const struct models_values *values, const void *context,
                                  double guess);

struct spread_range spread_over(const struct models_parameters *parameters,
                                const struct spread_direction *directions, size_t count,
                                spread_response response, const void *context);

#endif
