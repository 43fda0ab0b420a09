/* What versions before this one wrote, or a restored backup of one: made what this one keeps. */
#ifndef ODDLOAF_DESK_OLDER_H
#define ODDLOAF_DESK_OLDER_H

#include "desk/desk.h"
#include "store/store.h"

/* Gives the next few hundred reports that have none their entry (store/entry.h), and takes out of
 * their texts, and of what was kept and mailed of them, what they repeat of contact data
 * (desk/apart.h); looks through those that have one where an older version found less. *ret_count
 * is 0 once all is done.
 * In the writer's transaction; before anybody is answered. */
int older_take_in(const struct desk *desk, struct store *store, int *ret_count, struct error *err);

#endif
