/* Listening sockets: the Unix socket, those handed down by systemd, TCP; and when they rest.
 * Loop thread only.
 *
 * A listener left enabled while a connection cannot be taken would spin, so listeners rest while
 * their taker is full (listen_full()) and while the process is out of descriptors, which is tried
 * again a few times a second. Once stopped they never take another connection. */
#ifndef ODDLOAF_SERVE_LISTEN_H
#define ODDLOAF_SERVE_LISTEN_H

#include "base/error.h"
#include "base/log.h"
#include <event2/event.h>
#include <event2/util.h>
#include <stdbool.h>
#include <sys/socket.h>

struct listen;

/* A connection has come; the descriptor, which does not block, is the taker's. */
struct listen_taker {
    void (*take)(void *arg, evutil_socket_t fd, const struct sockaddr *from);
    bool (*is_full)(void *arg); /* asked a few times a second while it is */
    void *arg;
};

struct listen *listen_new(struct event_base *base, const struct log *log); /* `log` borrowed */
/* Closes the sockets and removes the socket file it made. NULL is fine. */
void listen_free(struct listen *listen);

/* Sockets handed down by systemd if there are any, else the Unix socket `path` (a stale one is
 * replaced; ERROR_CONFLICT if another daemon answers there). */
int listen_local(struct listen *listen, const struct listen_taker *taker, const char *path,
                 struct error *err);
/* Whether `where` is an "address:port" to listen at; ERROR_INVALID. */
int listen_check(const char *where, struct error *err);
/* `where`: as listen_check() has it. */
int listen_tcp(struct listen *listen, const struct listen_taker *taker, const char *where,
               struct error *err);

/* This taker has no room for more connections; it has again. */
void listen_full(struct listen *listen, const struct listen_taker *taker, bool is_full);
/* For good. */
void listen_stop(struct listen *listen);

#endif
