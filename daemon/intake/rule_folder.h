/* A folder of rule files, one a language: read in the order of their names. */
#ifndef ODDLOAF_INTAKE_RULE_FOLDER_H
#define ODDLOAF_INTAKE_RULE_FOLDER_H

#include "base/error.h"

/* `each` for every *.json of `dir` that doesn't begin with a point, until one fails. A missing
 * folder has none. */
int rule_folder_each(const char *dir, int (*each)(const char *path, void *arg, struct error *err),
                     void *arg, struct error *err);
/* Fills `err` with file, line and column of what `pointer` (a JSON pointer) names: the place is
 * looked up in the file again, for a parsed value no longer knows where it stood. Returns
 * ERROR_INVALID. `value` may be NULL. */
int rule_folder_fail(const char *path, const char *pointer, const char *value, const char *why,
                     struct error *err);

#endif
