/* Inside company evidence: how complaints of a symptom usually come in, from the weeks before that
 * are old enough to be complete. */
#ifndef ODDLOAF_FACTS_COMPANY_HISTORY_H
#define ODDLOAF_FACTS_COMPANY_HISTORY_H

#include "facts/company.h"

#define HISTORY_DELAY_DAYS 36 /* later ones are left out: the last day counts as all */

struct company_history {
    struct cache_object cached;
    int64_t stamp;                           /* of the data it was made from */
    double reported[HISTORY_DELAY_DAYS + 1]; /* share in by the end of day d after packing */
    double complaints, units;                /* in complete weeks, no lot counted for more than 3 */
};

/* As of the week the lot was packed in: packing days from 133 to 43 before its Monday. */
int company_history_get(struct cache *cache, const struct lot_records *records,
                        const struct company_around *around, const struct company_history **ret,
                        struct error *err);
double company_history_reported(const struct company_history *history, double days);

#endif
