#include "models/spread.h"

#include <math.h>
#include <string.h>

static void copy_direction(struct models_values *to, const struct models_values *from,
                           const struct spread_direction *d)
{
    for (size_t r = 0; r < d->repeat; r++) {
        size_t offset = d->offset + r * d->stride;
        memcpy((char *)to + offset, (const char *)from + offset, d->run * sizeof(double));
    }
}

/* One side of the range: quadrature sum of log deviations, held by the response with
 * every direction at its end on that side (far from typical the log is not linear). */
struct side {
    double square;
    struct models_values corner;
};

static void side_add(struct side *side, double deviation, const struct models_values *end,
                     const struct spread_direction *d)
{
    side->square += deviation * deviation;
    if (deviation != 0) {
        copy_direction(&side->corner, end, d);
    }
}

struct spread_range spread_over(const struct models_parameters *parameters,
                                const struct spread_direction *directions, size_t count,
                                spread_response response, const void *context)
{
    struct models_values values = parameters->typical;
    struct side up = {0, parameters->typical};
    struct side down = {0, parameters->typical};
    double typical = response(&values, context, NAN);
    for (size_t i = 0; i < count; i++) {
        copy_direction(&values, &parameters->low, &directions[i]);
        double at_low = log(response(&values, context, typical) / typical);
        copy_direction(&values, &parameters->high, &directions[i]);
        double at_high = log(response(&values, context, typical) / typical);
        copy_direction(&values, &parameters->typical, &directions[i]);
        bool low_is_more = at_low > at_high;
        side_add(&up, fmax(fmax(at_low, at_high), 0),
                 low_is_more ? &parameters->low : &parameters->high, &directions[i]);
        side_add(&down, fmin(fmin(at_low, at_high), 0),
                 low_is_more ? &parameters->high : &parameters->low, &directions[i]);
    }
    double least = response(&down.corner, context, typical);
    double most = response(&up.corner, context, typical);
    struct spread_range range = {fmax(typical * exp(-sqrt(down.square)), fmin(least, typical)),
                                 typical,
                                 fmin(typical * exp(sqrt(up.square)), fmax(most, typical))};
    return range;
}
