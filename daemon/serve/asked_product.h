/* The product that a request's `product` names, however it is called. */
#ifndef ODDLOAF_SERVE_ASKED_PRODUCT_H
#define ODDLOAF_SERVE_ASKED_PRODUCT_H

#include "lots/product_named.h"
#include "serve/request.h"

/* Nothing is asked for: none, and 0. ERROR_INVALID where no product, or too many, are so called. */
int asked_product(const struct request *rq, struct store *store, struct product_named *ret,
                  struct error *err);
/* ",3,7,", of those: for the filters of store/entry_find.h and store/written_find.h. malloc'd;
 * NULL if none, or a family, is asked for. */
char *asked_product_ids(const struct product_named *named);

#endif
