/* Around the rows of records: what they refer to, what a change of them sets going, what they were.
 */
#ifndef ODDLOAF_STORE_RECORD_FIND_H
#define ODDLOAF_STORE_RECORD_FIND_H

#include "base/record_kind.h"
#include "store/store.h"

/* ---- what rows refer to ---- */

/* *ret_id 0 if there is no such lot; *ret_packed_ms is the end of its packing. */
int record_find_lot(struct store *store, const char *lot, int64_t *ret_id, int64_t *ret_packed_ms,
                    struct error *err);
/* *ret_id 0 if there is no such product. */
/* "" if it names none, or there is no such lot. */
int record_find_plant(struct store *store, const char *lot, char *ret_plant, size_t size,
                      struct error *err);
int record_find_product(struct store *store, const char *product, int64_t *ret_id,
                        struct error *err);

/* ---- what a change of records sets going ---- */

/* Every open case that is, or may be, about this lot is ranked again. */
int record_find_touch_lot(struct store *store, int64_t lot_id, int64_t due_ms, struct error *err);

typedef int (*record_find_case)(void *arg, int64_t case_id, bool own);
/* All those cases, the lot's own before those that may be about it, the oldest first. A callback
 * may write; its non-zero answer stops and is returned. */
int record_find_cases(struct store *store, int64_t lot_id, record_find_case each, void *arg,
                      struct error *err);

/* An older version of a row, as JSON. */
struct record_replaced {
    int64_t replaced_ms;
    const char *was, *source; /* live until the callback returns */
};
typedef int (*record_replaced_each)(void *arg, const struct record_replaced *row);
/* Versions of all rows of a kind whose key begins with `key` (JSON array text), oldest first. */
int record_find_replaced(struct store *store, enum record_kind kind, const char *key,
                         record_replaced_each each, void *arg, struct error *err);

#endif
