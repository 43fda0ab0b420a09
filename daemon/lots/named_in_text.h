/* Which product and which store a caller's words name: "a loaf of Harrow White from the Mill Street
 * store". What stands there is given as it stands there, for product_named.h and outlet_named.h to
 * look up: it may fit several.
 *
 * Two words or more in the order of a name on record are that name, or a part of it; one word is
 * only where it is the whole name, beside what announces one ("of", "loaf", "store"), or a good
 * ("tortillas") that one product alone has in its name or family. A store needs that in any case:
 * streets are where people live, too. What several names are found for is none.
 */
#ifndef ODDLOAF_LOTS_NAMED_IN_TEXT_H
#define ODDLOAF_LOTS_NAMED_IN_TEXT_H

#include "store/lot_find.h"

enum named_in_text_kind { NAMED_PRODUCT, NAMED_STORE };

/* Bytes of the text; from == to: none is named. */
struct named_in_text {
    size_t from, to;
};

int named_in_text_find(struct store *store, enum named_in_text_kind kind, const char *text,
                       struct named_in_text *ret, struct error *err);

#endif
