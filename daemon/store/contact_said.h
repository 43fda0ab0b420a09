/* What callers said that holds contact data, kept with the contact (desk/apart.h). Inside store/
 * only.
 */
#ifndef ODDLOAF_STORE_CONTACT_SAID_H
#define ODDLOAF_STORE_CONTACT_SAID_H

#include "store/store.h"

/* Of all who reported that complaint: their texts, which may name one who is erased, are kept from
 * now on without contact data only. In the writer's transaction. */
int contact_said_drop(struct store *store, int64_t complaint_id, struct error *err);
/* Of one contact all that is beside who called; nothing is left of one that had no more. */
int contact_said_drop_beside(struct store *store, int64_t contact_id, struct error *err);

#endif
