/* Dirichlet beliefs about shares (which causes a plant has) and what verdicts do to them: counts
 * add to the prior weights. */
#ifndef ODDLOAF_STATS_DIRICHLET_H
#define ODDLOAF_STATS_DIRICHLET_H

#include <stddef.h>

/* ret_weights[i] = prior[i] + counts[i]; counts may be fractions (several verdicts weighted by how
 * they were confirmed). ERROR_INVALID for a negative count or a prior weight that is not positive.
 * The output may be either input. */
int dirichlet_update(const double *prior, const double *counts, size_t n, double *ret_weights);

#endif
