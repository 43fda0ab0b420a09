/* The hours of a line in which complaints are thickest. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_RUNS_H
#define ODDLOAF_PATTERNS_TRACE_RUNS_H

#include "patterns/trace_lots.h"
#include <jansson.h>

/* Scans each line's lots in the order they were packed for stretches of up to a week with more
 * complaints than their units explain; the foremost ones with p <= 0.05 for having looked
 * everywhere. [{"line","from","to","lots",…}]; new reference. */
json_t *trace_runs_json(const struct trace_lots *t, const struct tz *tz);

#endif
