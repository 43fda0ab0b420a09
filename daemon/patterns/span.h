/* Weeks, months, quarters and years: what came in, over what was packed, against another such time.
 */
#ifndef ODDLOAF_PATTERNS_SPAN_H
#define ODDLOAF_PATTERNS_SPAN_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct triage;
struct targets;
struct week_data;

struct span {
    int32_t from_day, to_day; /* [from, to) */
    char name[16];
    bool is_week;
};
/* "2026-W47", "2026-11", "2026-Q4" or "2026". ERROR_INVALID says so. */
int span_parse(const char *text, struct span *ret, struct error *err);

struct span_query {
    struct span span, against;     /* against.name "": nothing */
    int64_t now_ms;                /* what came later is left out */
    const struct targets *targets; /* as of struct week_query */
    unsigned by;                   /* a set of cuts; 0: the usual ones */
    const char *plant;             /* of that plant alone; NULL or "": all */
    const json_t *harm;            /* as of struct week_query */
    const struct desk *desk;       /* likewise */
};
/* Days are those of the plant's clock, or of `tz`'s (as of tz_of()), but whole weeks of each
 * plant's.
 * {"span","from","to","as_of","over","headline","complaints","units","rates","by","causes","other",
 * "harm_reports","harm_possible","harm_since","against"…}. New reference. */
int span_report(struct store *store, const struct tz *tz, struct triage *triage,
                const struct span_query *query, json_t **ret, struct error *err);

/* Inside patterns/: how what there was in a span compares. */
json_t *span_against_json(const struct span *span, const struct week_data *now,
                          const struct week_data *was);

#endif
