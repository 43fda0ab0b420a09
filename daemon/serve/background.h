/* What the daemon does by itself: ranks cases whose work row is due, matches open lots again,
 * purges contact data, queues Monday's digest and the day's list of what is due, tells systemd that
 * all is well. All of it is found in durable rows or derived from the clock, so that a crash at any
 * point repeats it. */
#ifndef ODDLOAF_SERVE_BACKGROUND_H
#define ODDLOAF_SERVE_BACKGROUND_H

#include "notify/mailer.h"
#include "serve/app.h"
#include <event2/event.h>

struct background;

/* Starts a thread of its own. `mailer` may be NULL. Sets app->wake. */
int background_start(struct event_base *base, struct app *app, struct mailer *mailer,
                     struct background **ret, struct error *err);
/* No new rounds; true once none is under way. */
bool background_stopping(struct background *bg);
/* Waits for the round under way, which needs the writer; wakes do nothing from here on. */
void background_close(struct background *bg); /* NULL is fine */
void background_free(struct background *bg);  /* NULL is fine */

#endif
