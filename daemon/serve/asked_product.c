#include "serve/asked_product.h"
#include "base/text.h"

int asked_product(const struct request *rq, struct store *store, struct product_named *ret,
                  struct error *err)
{
    const char *said = request_query(rq, "product");
    int rc = product_named_find(store, said, ret, err);
    if (rc || !said || ret->family[0] || (ret->count && !ret->more))
        return rc;
    error_field(err, "product", said);
    error_hint(err, "a code (W24), words of a name, or a family of products");
    return error_set(err, ERROR_INVALID,
                     ret->more ? "fits more than %d products" : "no product on record is so called",
                     PRODUCT_NAMED_MOST);
}

char *asked_product_ids(const struct product_named *named)
{
    struct text_buffer ids = {0};
    for (size_t i = 0; i < named->count && !named->family[0]; i++)
        text_appendf(&ids, "%s%lld,", i ? "" : ",", (long long)named->row[i].product_id);
    if (!ids.length)
        return NULL;
    return text_take(&ids);
}
