/* Finding the lot of a complaint from what its form says. */
#ifndef ODDLOAF_DESK_PLACING_H
#define ODDLOAF_DESK_PLACING_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "lots/standing.h"
#include "store/complaint.h"
#include "store/ranking.h"

struct placing {
    struct complaint_lots lots;
    int64_t product_id;  /* of the product the form names, 0 if unknown */
    int64_t read_lot_id; /* of the lot whose code was read, 0 if there is none */
};

int placing_find(const struct desk *desk, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err);
/* The complaint as the store takes it. Borrows form and body; without contact data. */
void placing_complaint(const struct complaint_form *form, const struct placing *placing,
                       const char *body, int64_t now_ms, struct complaint_new *ret);

/* How it stands to the lots, in JSON: what lots/standing.h sets, and "lots". */
void placing_json(const struct desk *desk, struct store *store, const struct complaint_form *form,
                  const struct complaint_lots *lots, json_t *into);
/* The same of a logged complaint, of a case: as its complaint whose lot is surest, or the newest of
 * those, and with "moved_here", the cases that were found to be this one. "lots" is left if it is
 * there. Sets nothing of what cannot be read. `kept` (may be NULL) takes lot and moved_here. */
void placing_json_of(const struct desk *desk, struct store *store, int64_t complaint_id,
                     json_t *into);
void placing_json_of_case(const struct desk *desk, struct store *store, int64_t case_id,
                          json_t *into, struct ranking *kept);

#endif
