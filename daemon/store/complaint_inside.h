/* Inside store/ only. */
#ifndef ODDLOAF_STORE_COMPLAINT_INSIDE_H
#define ODDLOAF_STORE_COMPLAINT_INSIDE_H

#include "store/store.h"

/* Counts a case again from its complaints after one left; an empty case points to where it went. */
int case_recount(struct store *store, int64_t case_id, int64_t moved_to, struct error *err);

#endif
