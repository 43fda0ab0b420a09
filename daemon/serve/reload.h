/* Reloads asked for by a signal: a thread of their own, so that neither the loop nor a full queue
 * of requests stands in their way. Any number asked for while one is under way become one more:
 * what stood in the files when the last was asked for is in force in the end. */
#ifndef ODDLOAF_SERVE_RELOAD_H
#define ODDLOAF_SERVE_RELOAD_H

#include "serve/app.h"

struct reload;

/* `ended`: after each run of reloads, taken or refused, on their thread. */
int reload_start(struct app *app, void (*ended)(void), struct reload **ret, struct error *err);
void reload_ask(struct reload *reload); /* thread-safe */
/* Waits for the one under way, which needs the writer; asked for again nothing happens. NULL is
 * fine. */
void reload_close(struct reload *reload);
void reload_free(struct reload *reload); /* after reload_close(); NULL is fine */

#endif
