/* Dirichlet beliefs about shares (which causes a plant has) and what verdicts do to them: counts
 * add to the prior weights. Each share's marginal is Beta(a_i, sum a - a_i). */
#ifndef ODDLOAF_STATS_DIRICHLET_H
#define ODDLOAF_STATS_DIRICHLET_H

#include <stddef.h>

#include "stats/interval.h"

/* ret_weights[i] = prior[i] + counts[i]; counts may be fractions (several verdicts weighted by how
 * they were confirmed). ERROR_INVALID for a negative count or a prior weight that is not positive.
 * The output may be either input. */
int dirichlet_update(const double *prior, const double *counts, size_t n, double *ret_weights);

/* Means a_i / sum a. */
int dirichlet_mean(const double *weights, size_t n, double *ret_mean);
double dirichlet_deviation(const double *weights, size_t n, size_t which);
/* Equal-tailed marginal interval of one share; NANs if out of range. */
struct interval dirichlet_interval(const double *weights, size_t n, size_t which,
                                   double confidence);

/* Log probability of one ordered sequence with these counts (`ordered`), or of the counts
 * themselves, under the prior weights (Dirichlet-multinomial). NAN for invalid input. */
double dirichlet_log_sequence(const double *prior, const double *counts, size_t n);
double dirichlet_log_counts(const double *prior, const double *counts, size_t n);

#endif
