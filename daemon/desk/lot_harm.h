/* Harm that is open of a lot in other cases than the one at hand, or that a laboratory found in it:
 * bread that hurt somebody, or would, is told to whoever hears of that lot, whatever else they call
 * about. */
#ifndef ODDLOAF_DESK_LOT_HARM_H
#define ODDLOAF_DESK_LOT_HARM_H

#include "desk/desk.h"
#include "store/hold.h"
#include <jansson.h>

/* Case ids; 0: none. Of complaints that are of this lot, or name this code, not of those that may
 * be. */
struct lot_harm {
    int64_t reported, possible;       /* the newest case of each */
    bool measured, measured_possible; /* results of the lot (desk/spoken.h) say it, or may */
};
int lot_harm_elsewhere(const struct desk *desk, struct store *store, const struct hold_of *of,
                       int64_t case_id, struct lot_harm *ret, struct error *err);
/* "harm_elsewhere" of a case that is told with its "lot_text", lot_id 0: its lot is open. Of
 * another case, or, where none tells as much, of the "lot" that a laboratory looked at. Nothing
 * where there is none. */
int lot_harm_json(const struct desk *desk, struct store *store, int64_t case_id, int64_t lot_id,
                  json_t *into, struct error *err);

#endif
