/* A plant's scale factors, fitted to its retained samples.
 *
 * Mold: each retained pack has a predicted course and was looked at until mold was seen
 * (found in the look before `days`) or the watch ended with none yet (right-censored).
 * Three numbers are fitted by penalized maximum likelihood: a factor on all mold times,
 * a factor on spores per pack, and the spread of times between lots. A pack's chance is
 *     sum over z of w(z) [S(t-look) - S(t)],  S(t) = exp(-m f F(t; time factor s e^{tau z}))
 * (Gauss-Hermite over z); a small share of packs is taken to follow no model (handling
 * errors), which keeps single odd samples from pulling the fit. Weak priors on the log
 * factors, N(0, 0.7) for time and N(0, 1.5) for spores, settle what few samples leave open.
 * Intervals are 5 to 95 % from the curvature at the maximum. Pure. */
#ifndef ODDLOAF_MODELS_CALIBRATE_H
#define ODDLOAF_MODELS_CALIBRATE_H

#include "models/mold.h"

#include <stdbool.h>
#include <stddef.h>

struct error;

struct calibrate_sample {
    const struct mold_course *course; /* borrowed; predicted with the current parameters */
    double days;                      /* when mold was first seen, or the watch ended */
    bool none_yet;
    double look_days; /* time between looks; 1 for daily */
};

struct calibrate_factor {
    double value, low, high; /* 5 to 95 % */
};

struct calibrate_residual {
    double predicted_days; /* mold-free days under the fit */
    double log_ratio;      /* ln(observed/predicted); for a censored sample a lower bound */
    double position;       /* chance under the fit to have shown by then: uniform if all is well */
};

struct calibrate_fit {
    struct calibrate_factor time;   /* multiply mold.time_scale with it */
    struct calibrate_factor spores; /* multiply mold.spores_scale with it */
    double lot_sigma;               /* spread of ln time between lots */
    /* for a new lot: time factor with its spread, low and high to adopt as the scale's range */
    struct calibrate_factor predictive;
    double log_likelihood;
    double log_likelihood_before; /* factors 1, spread as fitted */
    double position_ks;           /* largest gap of the positions of found samples to uniform */
    size_t samples, found;
};

/* At least 5 samples of which 3 found, else ERROR_INVALID. `residuals` (may be NULL) has
 * room for `count`. */
int calibrate_mold(const struct calibrate_sample *samples, size_t count,
                   struct calibrate_residual *residuals, struct calibrate_fit *ret_fit,
                   struct error *err);

#endif
