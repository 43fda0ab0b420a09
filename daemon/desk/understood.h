/* What the desk is shown of how a complaint was understood, so that it can be read back. */
#ifndef ODDLOAF_DESK_UNDERSTOOD_H
#define ODDLOAF_DESK_UNDERSTOOD_H

#include "desk/desk.h"
#include "desk/placing.h"
#include "intake/complaint_form.h"
#include "store/store.h"

/* Lot, product, line, packing time and code date in the plant's zone. */
json_t *understood_json(struct store *store, const struct tz *tz, int64_t lot_id,
                        const struct complaint_form *form);
/* Complaints of the same person and symptom within desk->similar_ms about this lot, or whose lot
 * may be this one, offered to join: [{"complaint","received_at","why"}]; not those of which another
 * code was read whole, and the newest few. `self` is the complaint's own row id, lot_id its lot's;
 * 0 for none. */
json_t *understood_similar(struct store *store, const struct desk *desk, int64_t self,
                           const struct complaint_form *form, int64_t lot_id,
                           const struct placing *placing);

#endif
