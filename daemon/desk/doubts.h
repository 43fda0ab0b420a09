/* What a complaint says and the records contradict: told to whoever reads the complaint, so that it
 * is asked again before anybody acts on it. */
#ifndef ODDLOAF_DESK_DOUBTS_H
#define ODDLOAF_DESK_DOUBTS_H

#include "desk/placing.h"

/* Adds to the form's doubts: a receipt long before the first lot; of harm, codes of other lots that
 * it names; a product, store or route that no record knows, or that fits several; and of the lot
 * that it is, or whose code was read, a find or a purchase before it was packed, mold sooner than
 * any grows, another product or code date, a store it was not sent to. */
void doubts_add(const struct desk *desk, struct store *store, const struct complaint_form *form,
                const struct placing *placing);

#endif
