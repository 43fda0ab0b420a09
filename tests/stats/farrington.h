/* Farrington's bound at one-sided alpha, by which published traces of the method are compared:
 * mean (1 + 2/3 z sqrt(tau / mean))^(3/2), tau = dispersion + se^2 / mean. */
#ifndef TESTS_FARRINGTON_H
#define TESTS_FARRINGTON_H

#include "stats/inverse.h"
#include <math.h>

static inline double farrington_upper(double mean, double se, double dispersion, double alpha)
{
    double tau = dispersion + se * se / mean;
    double root = 1.0 + 2.0 / 3.0 * inverse_normal_q(alpha) * sqrt(tau / mean);
    return mean * pow(fmax(0.0, root), 1.5);
}

#endif
