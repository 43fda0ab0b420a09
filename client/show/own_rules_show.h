/* The plant's own rule files beside the shipped ones (rules/rule_files.h). */
#ifndef ODDLOAF_CLIENT_SHOW_OWN_RULES_SHOW_H
#define ODDLOAF_CLIENT_SHOW_OWN_RULES_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `own`: a list of files, each with "file", "folder", "is" and "release", and where somebody has
 * compared, "differs" and "released" (show/difference.h). Nothing of an empty list. */
void own_rules_show(const struct view *v, const json_t *own);

#endif
