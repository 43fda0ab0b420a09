/* Results of laboratories and retained samples. */
#ifndef ODDLOAF_CLIENT_SHOW_MEASURED_SHOW_H
#define ODDLOAF_CLIENT_SHOW_MEASURED_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* "TOO LOW" or "TOO HIGH" of a result whose value `reading` does not allow; "" of any other. */
const char *measured_show_out(const json_t *result, const json_t *reading);
/* A section of them, if "measured" of the document has any: "Crumb pH 5.92: Northgate, sample
 * 26-114, 2026-11-24 10:00, titration (note)"; says of each what no rule reads. */
void measured_show(const struct view *v, const json_t *document);
/* What was recorded, what it changed at the top of which cases, and what is to be minded. */
void measured_show_answer(const struct view *v, const json_t *answer);

#endif
