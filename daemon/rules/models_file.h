/* rules/models.json: the models' parameters, low, typical and high with unit, mark and source. */
#ifndef ODDLOAF_RULES_MODELS_FILE_H
#define ODDLOAF_RULES_MODELS_FILE_H

#include "base/doc.h"
#include "models/parameters.h"

/* Defaults with what DIR/models.json overrides; no file: the defaults. Faults go to `report` (all
 * of them); a negative code if there was any, the first then also in `err`. */
int models_file_load(const char *dir, doc_report report, void *arg, struct models_parameters *ret,
                     struct error *err);

/* The same of the file at hand. */
int models_file_read(const char *path, doc_report report, void *arg, struct models_parameters *ret,
                     struct error *err);

#endif
