/* Listening sockets: the Unix socket, those handed down by systemd, TCP; and when they rest.
 * Loop thread only.
 *
 * A listener left enabled while a connection cannot be taken would spin, so listeners rest while
 * connections are full (listen_full()) and while the process is out of descriptors, which is tried
 * again a few times a second. Once stopped they never take another connection. */
#ifndef ODDLOAF_SERVE_LISTEN_H
#define ODDLOAF_SERVE_LISTEN_H

#include "base/error.h"
#include "base/log.h"
#include <event2/event.h>
#include <event2/http.h>
#include <stdbool.h>

struct listen;

struct listen *listen_new(struct event_base *base, const struct log *log); /* `log` borrowed */
/* After the evhttps that were given listeners, which own them. Removes the socket file it made.
 * NULL is fine. */
void listen_free(struct listen *listen);

/* Sockets handed down by systemd if there are any, else the Unix socket `path` (a stale one is
 * replaced; ERROR_CONFLICT if another daemon answers there). */
int listen_local(struct listen *listen, struct evhttp *evhttp, const char *path, struct error *err);
/* `where`: "address:port". */
int listen_tcp(struct listen *listen, struct evhttp *evhttp, const char *where, struct error *err);

/* There is no room for more connections; there is again. */
void listen_full(struct listen *listen, bool is_full);
/* For good. */
void listen_stop(struct listen *listen);

#endif
