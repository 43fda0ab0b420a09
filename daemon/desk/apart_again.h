/* Reports that are logged, looked through again for contact data (desk/apart.h): those of an older
 * version's file, and those whose complaint has got contact data it had not. In the writer's
 * transaction. */
#ifndef ODDLOAF_DESK_APART_AGAIN_H
#define ODDLOAF_DESK_APART_AGAIN_H

#include "desk/desk.h"
#include "store/entry.h"
#include <jansson.h>

/* One report; `names` of other callers of the same complaint, "" none. What was changed and mailed
 * of it before is masked as well (desk/apart_past.h). It has an entry after that. */
int apart_again_report(const struct desk *desk, struct store *store, const struct entry_report *row,
                       const char *names, struct error *err);
/* A complaint and all that is joined to it: who reported the same thing twice may be named in
 * either's words. */
int apart_again_complaint(const struct desk *desk, struct store *store, int64_t complaint_id,
                          struct error *err);

#endif
