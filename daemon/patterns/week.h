/* The week: what came in, what was made, what rose and whether it is real (design §9). */
#ifndef ODDLOAF_PATTERNS_WEEK_H
#define ODDLOAF_PATTERNS_WEEK_H

#include "base/error.h"
#include "base/when.h"
#include "patterns/span.h"
#include "store/store.h"
#include <jansson.h>

struct desk;
struct triage;
struct targets;

struct week_query {
    struct iso_week week; /* of that plant's clock; of all, of each by its own */
    int64_t now_ms;       /* what came later is left out, so that an old week can be replayed */
    struct span against;  /* to compare with; name "": nothing */
    const struct targets *targets; /* what the plant wants and what complaints cost it; or NULL */
    const char *plant;             /* of that plant alone; NULL or "": all */
    unsigned by;        /* cuts whose rates are wanted, a set (base/cuts.h); 0: the usual ones */
    const json_t *harm; /* the plant's words (intake/harm.h), by which the gravest is told first; or
                           NULL */
    const struct desk *desk; /* by whose word lists results of laboratories are read; NULL: none
                                is told */
};

/* `tz` as of tz_of(). §12 `week` and more; "by_only" lists the cuts if some were asked for. New
 * reference. */
int week_report(struct store *store, const struct tz *tz, struct triage *triage,
                const struct week_query *query, json_t **ret, struct error *err);

#endif
