/* What a week should bring: season and trend from the series' own past.
 *
 * Counts ~ quasi-Poisson, log mean = log exposure + level + trend + harmonics of the year. Past
 * outbreaks are down-weighted so that they do not hide the next one:
 *   C. P. Farrington, N. J. Andrews, A. D. Beale & M. A. Catchpole, "A statistical algorithm for
 * the early detection of outbreaks of infectious disease", Journal of the Royal Statistical Society
 * A 159 (1996) 547-563. */
#ifndef ODDLOAF_STATS_SEASON_H
#define ODDLOAF_STATS_SEASON_H

#include <stdbool.h>
#include <stddef.h>

#include "stats/glm.h"

enum { SEASON_HARMONICS_MOST = 4 };

#define SEASON_WEEKS 52.1775 /* in a mean Gregorian year */

struct season_design {
    double period;  /* in the unit of the times given: SEASON_WEEKS for weeks */
    int harmonics;  /* 0 to SEASON_HARMONICS_MOST */
    bool trend;     /* log-linear */
    double outlier; /* Anscombe residuals above it weigh their inverse square; 0: all weigh alike */
};

/* Where down-weighting begins: 1 in the paper above, which then expects too little and warns too
 * often; 2.58 in A. Noufaily et al., "An improved algorithm for outbreak detection in multiple
 * surveillance systems", Statistics in Medicine 32 (2013) 1206-1222. */
#define SEASON_OUTLIER_1996 1.0
#define SEASON_OUTLIER_2013 2.58

/* A design that a series spanning `span` weeks can carry (common practice, no source): level alone
 * below half a year, trend from there, a first harmonic from one and a half years (a season seen
 * once cannot be told from a trend), two from three. Outliers as in 2013. */
struct season_design season_design_for(double span);

struct season {
    struct season_design design;
    struct glm fit;
    double origin;     /* time at which the trend term is 0 */
    double dispersion; /* not below 1 */
    double trend;      /* of the log rate per unit of time; 0 without trend */
    double trend_p;    /* two-sided, t with the residual df; 1 without trend */
};

/* `times` need not be consecutive; `exposure` NULL means equal. Weeks without exposure are left
 * out by the caller. ERROR_INVALID for a design with more terms than weeks, exposures that are not
 * positive, negative counts, nothing counted, or no convergence. */
int season_fit(const double *times, const double *counts, const double *exposure, size_t n,
               const struct season_design *design, struct season *ret);

/* Expected count at a time and exposure, and the standard error of that expectation (dispersion
 * included). Extrapolating a trend far is the caller's error. */
double season_expected(const struct season *s, double time, double exposure, double *ret_se);

/* Size of the negative binomial with this mean and variance dispersion x mean + se^2: the
 * predictive distribution of the count. INFINITY if that is Poisson. */
double season_size(double mean, double se, double dispersion);

#endif
