/* What is said when a complaint reports harm: the words are the plant's, in rules/harm.json. */
#ifndef ODDLOAF_INTAKE_HARM_H
#define ODDLOAF_INTAKE_HARM_H

#include "base/error.h"
#include <jansson.h>

/* {"script": read out to the caller, "mail": [cautions of the urgent mail]}; checked. New
 * reference. Errors with file, line and column. */
int harm_load(const char *path, json_t **ret, struct error *err);

#endif
