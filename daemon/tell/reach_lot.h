/* Inside tell/: one lot that reach names, in JSON. */
#ifndef ODDLOAF_TELL_REACH_LOT_H
#define ODDLOAF_TELL_REACH_LOT_H

#include "facts/lot_record.h"
#include "rank/triage.h"
#include <jansson.h>

/* "lot", "units", "code_date", "in_code" (on the plant's day `today`), "product", "line", "routes",
 * "because", "holds" if any stands and "came_of_it" of one that is destroyed or reworked. Takes the
 * reference of `because`. */
json_t *reach_lot_json(const struct tz *tz, struct store *store, const struct lot_record *record,
                       int32_t today, json_t *because);

#endif
