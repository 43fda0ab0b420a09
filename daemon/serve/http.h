/* The event loop's side of HTTP: the ways in and their limits, what is refused before anything
 * reads it, peers' credentials, and the way back of answers made on other threads. */
#ifndef ODDLOAF_SERVE_HTTP_H
#define ODDLOAF_SERVE_HTTP_H

#include "serve/app.h"
#include <event2/event.h>

struct http;

/* Listens on the Unix socket `socket_path` (a stale one is replaced), or on sockets handed down by
 * systemd, and on TCP+TLS if the config says so. */
int http_start(struct event_base *base, struct app *app, const char *socket_path, struct http **ret,
               struct error *err);
/* New limits are in force. Any thread; the loop takes them over. A wait that
 * has begun ends as it would have. */
void http_changed(struct http *http);
/* Takes no more connections, refuses new requests on those there are; requests under way go on. */
void http_stop(struct http *http);
/* Requests under way. */
size_t http_pending(const struct http *http);
/* After the loop ended and nobody answers any more: sends the answers that are left, for at most so
 * long. NULL is fine. */
void http_flush(struct http *http, int64_t patience_ms);
void http_free(struct http *http); /* NULL is fine; removes the socket file it made */

#endif
