/* Keeps the state: looks whether the database is whole after the start, backs it up by the clock,
 * lets go of what has been kept long enough. On a thread of its own, of lower priority, so that
 * neither the desk nor the rankings wait for it. */
#ifndef ODDLOAF_SERVE_KEEPER_H
#define ODDLOAF_SERVE_KEEPER_H

#include "serve/app.h"
#include <event2/event.h>

struct keeper;

int keeper_start(struct event_base *base, struct app *app, struct keeper **ret, struct error *err);
/* Cuts short what it is at, waits for its thread. NULL is fine; so is a second time. */
void keeper_close(struct keeper *keeper);
void keeper_free(struct keeper *keeper); /* closes it first. NULL is fine */

struct keeper_told {
    int64_t checked_ms;    /* when the check ended, WHEN_UNKNOWN_MS: it is under way */
    struct error damage;   /* code 0: none was found */
    struct error unbacked; /* why the last backup by the clock failed; code 0: it did not */
};
/* Thread-safe. */
void keeper_tell(struct keeper *keeper, struct keeper_told *ret);

#endif
