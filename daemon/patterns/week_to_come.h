/* Complaints still to come about what recent weeks packed. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_TO_COME_H
#define ODDLOAF_PATTERNS_WEEK_TO_COME_H

#include "patterns/week_expect.h"
#include "stats/delay.h"
#include <jansson.h>

#define TO_COME_CONFIDENCE 0.9
enum { TO_COME_WEEKS = 8 };

/* Forecast of the final count of what the week at `index` (of WEEK_HISTORY) packed. False where
 * nothing can be said: nothing packed, or no complaint in the plant's past. */
bool week_to_come_forecast(const struct week_model *model, int symptom, int index,
                           struct delay_forecast *ret);
/* Share of the complaints about that week's packing that are in by now; 1 long after. */
double week_to_come_share_in(const struct week_model *model, int symptom, int index);

/* Rows of the last weeks that are not all in, the newest first. New reference. */
json_t *week_to_come_json(const struct week_model *model);

#endif
