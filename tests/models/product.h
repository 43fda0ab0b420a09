/* The models' own products by name. */
#ifndef ODDLOAF_TESTS_MODELS_PRODUCT_H
#define ODDLOAF_TESTS_MODELS_PRODUCT_H

#include "models/acid.h"

#include <string.h>

/* NULL if there is none. */
static inline const struct acid_product *acid_product_find(const char *name)
{
    const struct acid_product *product = acid_product_at(0);
    for (size_t i = 1; product && strcmp(product->name, name) != 0; i++) {
        product = acid_product_at(i);
    }
    return product;
}

#endif
