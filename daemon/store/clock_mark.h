/* Whether the wall clock may be trusted with deleting by date: a clock that jumps a year ahead must
 * not take a year's contact data with it. The last time seen is kept in the database. A step of
 * more than an hour from it, ahead or back, or a daemon that was away for longer, begins a day in
 * which nothing is deleted by date; a clock still wrong after a day is somebody's to set right. */
#ifndef ODDLOAF_STORE_CLOCK_MARK_H
#define ODDLOAF_STORE_CLOCK_MARK_H

#include "store/store.h"

#define CLOCK_MARK_SEEN "clock/seen_ms"
#define CLOCK_MARK_STEADY "clock/steady_since_ms"

enum clock_mark { CLOCK_STEADY, CLOCK_WAITING, CLOCK_STEPPED };

/* Looks at the time and remembers it, every few minutes. *ret: steady for a day or more; not yet;
 * or (once a step) just stepped. In the writer's transaction. */
int clock_mark_look(struct store *store, int64_t now_ms, enum clock_mark *ret, struct error *err);

#endif
