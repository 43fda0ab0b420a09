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
    int64_t now_ms;    /* what can be in of the newest lots; 0: all of it */
};

/* §12 `trace`, most significant first; new reference. What explains them is told as a week tells it
 * (week_traced.h), from lower odds on, since one question is asked and not one a week of each
 * symptom: what a week tells, this tells of the same complaints. Of days that are fewer than the
 * eight weeks a week looks at, and tell nothing, those eight weeks up to the last of them are
 * asked, too (`eight_weeks`): what is in trouble for most of a few days is their usual. */
int trace_run(struct store *store, const struct tz *tz, const struct trace_query *query,
              json_t **ret, struct error *err);

#endif
