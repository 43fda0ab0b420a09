/* Inside company evidence: how complaints of a symptom usually come in, from the weeks before that
 * are old enough to be complete. */
#ifndef ODDLOAF_FACTS_COMPANY_HISTORY_H
#define ODDLOAF_FACTS_COMPANY_HISTORY_H

#include "facts/cache.h"
#include "rules/rules.h"
#include "store/store.h"

#define HISTORY_DELAY_DAYS 36 /* later ones are left out: the last day counts as all */

struct company_history {
    struct cache_object cached;
    int64_t stamp;                           /* of the data it was made from */
    double reported[HISTORY_DELAY_DAYS + 1]; /* share in by the end of day d after packing */
    double complaints, units;                /* in complete weeks, no lot counted for more than 3 */
};

/* As of the week of `packed_day`: packing days from 133 to 43 before that week's Monday. */
int company_history_get(struct cache *cache, struct store *store, const struct rules *rules,
                        int symptom, int32_t packed_day, int64_t records_serial,
                        const struct company_history **ret, struct error *err);
double company_history_reported(const struct company_history *history, double days);

#endif
