/* Common factors: what the lots of a set of cases, or of a period's complaints, share that the lots
 * without complaints do not. */
#ifndef ODDLOAF_PATTERNS_TRACE_H
#define ODDLOAF_PATTERNS_TRACE_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct trace_query {
    const char *symptom;      /* NULL: that of the cases */
    int32_t from_day, to_day; /* days of packing, both included; with cases: WHEN_UNKNOWN_DAY */
    const int64_t *cases;     /* or these cases */
    size_t case_count;
    const char *plant; /* lots of that plant alone; NULL or "": all */
};

/* §12 `trace`, most significant first; new reference. */
int trace_run(struct store *store, const struct tz *tz, const struct trace_query *query,
              json_t **ret, struct error *err);

#endif
