/* One connection: requests are read from it (wire.h), one at a time is with its owner, answers are
 * written to it. Every wait of it ends: for the first head, for a request, for a client that reads
 * slowly. Loop thread only.
 *
 * A client that has stopped sending, and still reads, gets its whole answer; one that has gone
 * while its request was under way is noticed within a second, over TCP within three. Where what it
 * sends is not read to its end, the connection is closed behind the answer, and what comes
 * meanwhile read and dropped for two seconds: closed at once, the answer would be lost on its way.
 */
#ifndef ODDLOAF_SERVE_CONN_H
#define ODDLOAF_SERVE_CONN_H

#include "serve/wire.h"
#include <event2/bufferevent.h>
#include <stdint.h>
#include <sys/types.h>

struct conn;

struct conn_limits {
    struct wire_limits wire;
    int64_t first_ms;   /* from the connection to its first request, TLS handshake and head; 0: as
                           between requests */
    int64_t request_ms; /* from a request's first byte to its last */
    int64_t idle_ms;    /* between requests; and for 64 KiB of an answer to be taken */
};

struct conn_events {
    /* A request's head has come; its body, if it has one, not yet. It may be answered here and now,
     * and is then not read. */
    void (*head)(void *arg, struct conn *conn);
    /* A request has come whole. conn_answer() or the last conn_piece() ends it. */
    void (*request)(void *arg, struct conn *conn);
    /* What it sends is no request that can be answered otherwise: conn_answer() with this. */
    void (*fault)(void *arg, struct conn *conn, const struct wire_fault *fault);
    /* The client has taken the last piece: make the next one. */
    void (*taken)(void *arg, struct conn *conn);
    /* It waits for a request's first byte, or no longer. */
    void (*idle)(void *arg, struct conn *conn, bool is_idle);
    /* It ends, and is freed behind this. `left`: the client went, not we. */
    void (*gone)(void *arg, struct conn *conn, bool left);
};

/* `bev` is the connection's from here on. `limits` are borrowed and may change under it. */
struct conn *conn_new(struct bufferevent *bev, const struct conn_limits *limits,
                      const struct conn_events *events, void *arg);
/* From here on it is read, and may end. */
void conn_start(struct conn *conn);
/* Calls gone(), of `left` false. */
void conn_close(struct conn *conn);

/* What is being said: of the request that is with the owner. */
struct wire *conn_wire(const struct conn *conn);
struct bufferevent *conn_bufferevent(const struct conn *conn);
/* What the owner keeps with it of its request, NULL at first; and where the door (door.h) has it.
 */
void conn_set_owner(struct conn *conn, void *owner);
void *conn_owner(const struct conn *conn);
void conn_set_place(struct conn *conn, void *place);
void *conn_place(const struct conn *conn);
/* Which one it is, of all there were. */
void conn_set_number(struct conn *conn, uint64_t number);
uint64_t conn_number(const struct conn *conn);
/* Of a local client, by whom it was begun; false of others. */
void conn_set_uid(struct conn *conn, uid_t uid);
bool conn_uid(const struct conn *conn, uid_t *ret);
/* Bytes of a request have come that the loop has not looked at yet. */
bool conn_has_bytes(const struct conn *conn);
/* Bytes wait to be taken by the client. */
bool conn_is_writing(const struct conn *conn);

struct conn_head {
    int status;
    const char *type;
    const char *lines; /* further headers, each ended by CR LF; "" none */
    bool close;        /* behind the answer */
};
/* The whole answer. `body` is taken over (malloc'd). */
void conn_answer(struct conn *conn, const struct conn_head *head, char *body, size_t length);
/* A piece of it, the first with its head, all others with NULL. True if taken() asks for the next
 * one; of an answer to HEAD the first is the last. */
bool conn_piece(struct conn *conn, const struct conn_head *head, char *body, size_t length,
                bool last);

#endif
