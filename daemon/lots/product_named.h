/* Which product is meant by what people type or say: a code ("W24"), a code or name of before (the
 * column `also` of products), a GTIN, a name ("Harrow White Pan 24 oz"), parts of one ("white
 * pan").
 *
 * What fits several is told with all of them, and none is taken for the one. */
#ifndef ODDLOAF_LOTS_PRODUCT_NAMED_H
#define ODDLOAF_LOTS_PRODUCT_NAMED_H

#include "base/text.h"
#include "store/lot_find.h"

enum { PRODUCT_NAMED_MOST = 8 };

struct product_named {
    size_t count; /* of `row`; 0: no product fits */
    bool more;    /* fit than there is room for */
    /* what was said fits each of them; else row[0] is meant, and the others were, or are now, what
     * it is called by */
    bool several;
    char family[LENGTH_CODE + 1]; /* what was said is a family of products, as on record; "" */
    struct lot_find_product row[PRODUCT_NAMED_MOST];
};

/* The best there is: a code as it is written; a code, other code, name or GTIN in any writing; each
 * word one of its code, names or family. NULL or "" finds none, which is no error. */
int product_named_find(struct store *store, const char *said, struct product_named *ret,
                       struct error *err);
/* The one that is meant, or 0. */
int64_t product_named_one(const struct product_named *named);
/* May it be this product? */
bool product_named_fits(const struct product_named *named, int64_t product_id);
/* "W20 (Harrow White 20 oz), W24 (Harrow White 24 oz) and more". */
void product_named_list(const struct product_named *named, struct text_buffer *out);

#endif
