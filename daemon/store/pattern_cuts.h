/* Inside store/ only: what counts for a week, made from the table of cuts (base/cuts.h). */
#ifndef ODDLOAF_STORE_PATTERN_CUTS_H
#define ODDLOAF_STORE_PATTERN_CUTS_H

#include "store/store.h"

/* Makes the file's views those of the table, in the writer's transaction. *ret_new: they were of
 * another, so that the caller must have everything counted again. */
int pattern_cuts(struct store *store, bool *ret_new, struct error *err);

#endif
