/* rules/models.json: the models' parameters, low, typical and high with unit, mark and source. */
#ifndef ODDLOAF_RULES_MODELS_FILE_H
#define ODDLOAF_RULES_MODELS_FILE_H

#include "base/error.h"
#include "models/parameters.h"
#include <stddef.h>

/* Defaults with what DIR/models.json overrides; no file: the defaults. Faults go to `report` (all
 * of them); a negative code if there was any, the first then also in `err`. */
int models_file_load(const char *dir, void (*report)(void *arg, const struct error *fault),
                     void *arg, struct models_parameters *ret, struct error *err);

#endif
