/* The stores that the complaints of a rise name. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_STORES_H
#define ODDLOAF_PATTERNS_WEEK_STORES_H

#include "patterns/week_data.h"
#include "store/pattern_span.h"
#include <jansson.h>

/* Complaints that count for `led` and are most likely of `cause`. */
struct week_stores_of {
    const struct week_level *led, *cause;
};
/* *ret: [{"store", "complaints"}], a new reference, the most named first, three at most; one
 * complaint singles out no store. Reads the complaints of the scope. */
int week_stores(struct store *store, const struct pattern_scope *scope,
                const struct week_stores_of *of, json_t **ret, struct error *err);

#endif
