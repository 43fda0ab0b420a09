/* Connections under watch: evhttp times the gap between reads, so a client that drips a byte a
 * second is never cut. Here each request gets an absolute deadline from its first byte, and the
 * number of open connections is bounded. evhttp also answers what it refuses itself (a body too
 * large, a malformed line) with HTML pages nobody can replace; they are exchanged for problem
 * documents before they leave. Loop thread only. */
#ifndef ODDLOAF_SERVE_CONN_H
#define ODDLOAF_SERVE_CONN_H

#include <event2/bufferevent.h>
#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct conn_watch;

/* `full(arg, true)` when the limit is reached, `full(arg, false)` when there is room again. */
struct conn_watch *conn_watch_new(struct event_base *base, size_t limit, int64_t request_ms,
                                  void (*full)(void *arg, bool is_full), void *arg);
/* Other limits from now on, for requests that have begun too. */
void conn_watch_limit(struct conn_watch *watch, size_t limit, int64_t request_ms);
void conn_watch_free(struct conn_watch *watch);
/* A new connection's bufferevent: watched from here until evhttp lets it go. */
void conn_watch_add(struct conn_watch *watch, struct bufferevent *bev);
/* Its request has arrived whole. */
void conn_watch_arrived(struct conn_watch *watch, struct bufferevent *bev);
/* Brackets an answer of our own, which is left as it is. */
void conn_watch_answering(struct conn_watch *watch, struct bufferevent *bev, bool ours);
/* Bytes wait to leave on some connection. */
bool conn_watch_is_writing(const struct conn_watch *watch);
size_t conn_watch_count(const struct conn_watch *watch);

#endif
