/* Inside store/ only: when each lot of a material was first used, as the lots that were made of it
 * tell, kept beside them. Reading it from them costs a look at every lot that was. */
#ifndef ODDLOAF_STORE_MATERIAL_FIRST_H
#define ODDLOAF_STORE_MATERIAL_FIRST_H

#include "store/store.h"

/* A lot is now on record as made of it. */
int material_first_used(struct store *store, int64_t lot_id, const char *material,
                        const char *material_lot, struct error *err);
/* The time at which a lot was made has changed. */
int material_first_lot(struct store *store, int64_t lot_id, struct error *err);
/* How many of the times kept are not those that the lots tell. */
int material_first_differences(struct store *store, int64_t *ret, struct error *err);

#endif
