#include "models/spread.h"

#include <math.h>
#include <string.h>

/* Third from either end of 60 is 5 %. */
enum { SETTINGS = 60, TAIL = 3 };

static double *double_at(struct models_values *values, size_t offset)
{
    return (double *)(void *)((char *)values + offset);
}

static double double_of(const struct models_values *values, size_t offset)
{
    return *(const double *)(const void *)((const char *)values + offset);
}

/* `place` -1: low, 0: typical, 1: high; straight in between. */
static void set_direction(struct models_values *values, const struct models_parameters *parameters,
                          const struct spread_direction *d, double place)
{
    const struct models_values *end = place < 0 ? &parameters->low : &parameters->high;
    for (size_t r = 0; r < d->repeat; r++) {
        for (size_t i = 0; i < d->run; i++) {
            size_t offset = d->offset + r * d->stride + i * sizeof(double);
            double typical = double_of(&parameters->typical, offset);
            *double_at(values, offset) = typical + fabs(place) * (double_of(end, offset) - typical);
        }
    }
}

/* The base of the recurrence: the positive root of x^(count+1) = x + 1. */
static double recurrence_base(size_t count)
{
    double root = 2;
    for (int i = 0; i < 40; i++) {
        root = pow(1 + root, 1.0 / (double)(count + 1));
    }
    return root;
}

/* Place of setting `k` along a direction whose step is `step`. */
static double place_of(int k, double step)
{
    double u = 0.5 + step * (k + 1);
    u -= floor(u);
    u = fmin(fmax(u, 0.05), 0.95);
    return log(u / (1 - u)) / log(0.95 / 0.05);
}

static void insert_in_order(double *sorted, int count, double value)
{
    int i = count;
    for (; i > 0 && sorted[i - 1] > value; i--) {
        sorted[i] = sorted[i - 1];
    }
    sorted[i] = value;
}

struct spread_range spread_over(const struct models_parameters *parameters,
                                const struct spread_direction *directions, size_t count,
                                spread_response response, const void *context)
{
    struct models_values values = parameters->typical;
    double typical = response(&values, context, NAN);
    double base = recurrence_base(count);
    double sorted[SETTINGS];
    for (int k = 0; k < SETTINGS; k++) {
        double step = 1;
        for (size_t i = 0; i < count; i++) {
            step /= base;
            set_direction(&values, parameters, &directions[i], place_of(k, step));
        }
        insert_in_order(sorted, k, response(&values, context, typical));
    }
    struct spread_range range = {fmin(sorted[TAIL - 1], typical), typical,
                                 fmax(sorted[SETTINGS - TAIL], typical)};
    return range;
}
