/* Inside store/ only: what counts for a week, made from the table of cuts (base/cuts.h). */
#ifndef ODDLOAF_STORE_PATTERN_CUTS_H
#define ODDLOAF_STORE_PATTERN_CUTS_H

#include "store/schema.h"
#include "store/store.h"

/* Number of the week a time lies in at a plant, by that plant's clock; both are SQL. */
#define PATTERN_WEEK_AT(ms, plant)                                                                 \
    "coalesce((SELECT week FROM pattern_clock WHERE pattern_clock.plant = " plant                  \
    " AND from_ms <= " ms " ORDER BY from_ms DESC LIMIT 1), " SCHEMA_WEEK_OF(ms) ")"

/* Makes the file's views those of the table, in the writer's transaction. *ret_new: they were of
 * another, so that the caller must have everything counted again. */
int pattern_cuts(struct store *store, bool *ret_new, struct error *err);

#endif
