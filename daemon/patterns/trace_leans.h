/* On which route a store is that callers name and no dispatch does: one on whose route a lot never
 * went did not sell it. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_LEANS_H
#define ODDLOAF_PATTERNS_TRACE_LEANS_H

#include "patterns/trace_lots.h"

struct trace_leans;

struct trace_leans *trace_leans_new(struct trace_lots *t);
void trace_leans_free(struct trace_leans *x); /* NULL is fine */
/* A caller names a store, level + 1, about a lot, whatever the symptom. */
void trace_leans_name(struct trace_leans *x, size_t store, size_t lot);
/* Sets trace_level.leans of the stores that were named and that nothing else tells of. */
void trace_leans_set(struct trace_leans *x);
/* How likely a store is on a route, levels + 1 both; 0 if nothing is known of the store. */
double trace_leans_of(const struct trace_lots *t, size_t store, size_t route);

#endif
