/* Parameters of all models: low, typical, high by name.
 *
 * The built-in values are those of rules/models.json, which gives unit and source of
 * each; a rule file or a plant's calibration overrides them by name. Names are dotted
 * ("mold.penicillium.lag_opt_h"). */
#ifndef ODDLOAF_MODELS_PARAMETERS_H
#define ODDLOAF_MODELS_PARAMETERS_H

#include "models/acid.h"
#include "models/heat.h"
#include "models/mold.h"
#include "models/odor.h"
#include "models/staling.h"
#include "models/wet.h"

#include <stdbool.h>
#include <stddef.h>

/* A usual lot, taken where neither the lot nor its target tells. */
struct usual_values {
    double bread_per_flour;
    double crumb_ph;
    double crumb_aw;
    double crumb_moisture_pct;
    double store_c;
};

struct models_values {
    struct acid_values acid;
    struct mold_values mold;
    struct heat_values heat;
    struct wet_values wet;
    struct staling_values staling;
    struct odor_values odor;
    struct rope_values rope;
    struct usual_values usual;
};

struct models_parameters {
    struct models_values low, typical, high;
};

struct parameter {
    const char *name;
    size_t offset; /* of a double in struct models_values */
    double low, typical, high;
};

void parameters_default(struct models_parameters *parameters);
/* NULL when there is no such name. */
const struct parameter *parameters_find(const char *name);
/* 0; ERROR_NOT_FOUND for a name that is not there; ERROR_INVALID unless
 * low <= typical <= high and all are finite. Nothing is changed on an error. */
int parameters_set(struct models_parameters *parameters, const char *name, double low,
                   double typical, double high);
/* Reads the triple back; ERROR_NOT_FOUND as above. */
int parameters_get(const struct models_parameters *parameters, const char *name, double *ret_low,
                   double *ret_typical, double *ret_high);
/* Whether parameters that must be ordered are (minimum < optimum < maximum of each
 * group); the first offender's name goes to `*ret_name` (may be NULL). */
bool parameters_consistent(const struct models_parameters *parameters, const char **ret_name);

#endif
