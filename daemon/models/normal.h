/* Standard normal distribution function, from libm's erfc. */
#ifndef ODDLOAF_MODELS_NORMAL_H
#define ODDLOAF_MODELS_NORMAL_H

#include <math.h>

enum { NORMAL_NODES = 5 };

static inline double normal_cdf(double z)
{
    return 0.5 * erfc(-z * M_SQRT1_2);
}

/* Gauss-Hermite nodes and weights of the standard normal (Abramowitz, Stegun 1964, table
 * 25.10, nodes times sqrt 2, weights over sqrt pi). */
static inline double normal_node(int k)
{
    static const double node[NORMAL_NODES] = {-2.8569700138728056, -1.3556261799742659, 0,
                                              1.3556261799742659, 2.8569700138728056};
    return node[k];
}

static inline double normal_weight(int k)
{
    static const double weight[NORMAL_NODES] = {0.011257411327720689, 0.22207592200561265,
                                                0.53333333333333333, 0.22207592200561265,
                                                0.011257411327720689};
    return weight[k];
}

#endif
