/* The ways in: the Unix socket, or what systemd handed down, and TCP with TLS if the config says
 * so. Each has a door (door.h) and rests while it is full. Loop thread only. */
#ifndef ODDLOAF_SERVE_WAYS_H
#define ODDLOAF_SERVE_WAYS_H

#include "serve/app.h"
#include "serve/door.h"
#include <event2/event.h>

struct ways;
struct way;

/* `events` are those of every connection, called with its struct way as the argument. All are
 * borrowed. */
struct ways *ways_new(struct event_base *base, struct app *app, const struct conn_events *events,
                      void *owner);
/* Closes the connections and removes the socket file it made. NULL is fine. */
void ways_free(struct ways *ways);
/* Listens. A stale socket file is replaced; ERROR_CONFLICT if another daemon answers there. */
int ways_open(struct ways *ways, const struct config *config, const char *socket_path,
              struct error *err);
/* New limits. A wait that has begun ends as it would have. */
void ways_limit(struct ways *ways, const struct config *config);
/* No more connections; those there are stay. */
void ways_stop(struct ways *ways);
/* Bytes wait to be taken by a client. */
bool ways_is_writing(const struct ways *ways);

void *ways_owner(const struct way *way);
struct door *ways_door(const struct way *way);
/* Files, batches and other long work that one peer may have under way. */
size_t ways_long_of_peer(const struct way *way);
/* A connection is idle or no longer; it has gone. */
void ways_idle(struct way *way, struct conn *conn, bool is_idle);
void ways_leave(struct way *way, struct conn *conn);

#endif
