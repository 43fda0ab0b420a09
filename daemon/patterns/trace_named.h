/* Stores that callers name and no dispatch does: a plant that writes routes alone has them too.
 * Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_NAMED_H
#define ODDLOAF_PATTERNS_TRACE_NAMED_H

#include "patterns/trace_lots.h"

/* Makes levels of them, on the lots of which it is not known to what stores they went. What part of
 * those lots each of them got is taken from how often callers name it about other symptoms
 * (trace_level.told). */
int trace_named_read(struct trace_lots *t, struct store *store, const struct trace_asked *asked,
                     struct error *err);

#endif
