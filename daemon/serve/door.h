/* Who may come in: the connections of one transport, how many there are, how many of one peer, and
 * which has been idle longest. When a newcomer finds no room, the longest idle one goes for it: one
 * that says nothing never keeps out one that does. Loop thread only. */
#ifndef ODDLOAF_SERVE_DOOR_H
#define ODDLOAF_SERVE_DOOR_H

#include "serve/conn.h"

struct door;
struct door_peer;

enum { DOOR_PEER = 64 }; /* bytes of a peer's name with its end */

struct door_limits {
    size_t connections;
    size_t of_peer; /* of them, of one peer */
    size_t long_of_peer;
};

/* `limits` are borrowed and may change under it. */
struct door *door_new(const struct door_limits *limits);
/* Closes every connection. NULL is fine. */
void door_free(struct door *door);

enum door_answer { DOOR_OPEN, DOOR_FULL, DOOR_PEER_FULL };
/* Makes room for one of the peer of that name if it can. */
enum door_answer door_ask(struct door *door, const char *name);
void door_enter(struct door *door, struct conn *conn, const char *name);
void door_idle(struct door *door, struct conn *conn, bool is_idle);
void door_leave(struct door *door, struct conn *conn);

/* All are busy: nobody could come in. Of the idle ones a few are looked at, others the next time:
 * this is asked at every change, and again in a moment while it is full. */
bool door_is_full(struct door *door);
size_t door_count(const struct door *door);
bool door_is_writing(const struct door *door);

/* Long work of a peer, which may outlast its connection. NULL: it has as much under way as it may.
 */
struct door_peer *door_begin_long(struct door *door, const struct conn *conn);
void door_end_long(struct door_peer *peer); /* NULL is fine */

#endif
