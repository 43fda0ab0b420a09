/* Inside store/ only: one connection to a PostgreSQL server. Lost, it is made anew by whoever asks
 * next outside a transaction, at most once in a while; what was prepared on it is prepared again.
 *
 * Several daemons may have one database. Advisory locks, which the server lets go of with the
 * session that has them, hold them together: that of being there, which all of a daemon's sessions
 * share, and which whoever makes or converts the schema has alone (a daemon of an older version had
 * it alone as long as it ran); that of the one transaction that writes (SERVER_BEGIN); and
 * claims, of what one daemon is at (claim.h). */
#ifndef ODDLOAF_STORE_SERVER_H
#define ODDLOAF_STORE_SERVER_H

#include "store/libpq.h"
#include <stdatomic.h>
#include <stdint.h>

enum server_use {
    SERVER_READS,
    SERVER_WRITES,
    SERVER_BESIDE /* reads, beside a session of ours that is alone there */
};

struct server {
    struct libpq pq; /* from the first try to connect on */
    PGconn *connection;
    char *address;
    enum server_use use;
    bool began;          /* a transaction, whatever became of it */
    bool writing;        /* and it took its turn to write */
    unsigned generation; /* counts connections: what was prepared on another is gone */
    unsigned named;      /* statements of this connection */
    int64_t tried_ms;    /* monotonic, of the last try to connect that failed; 0: it did not */
    int schema;          /* that it was opened with: of no other it goes on. 0: of any */
    bool claims;         /* this session has begun to */
    char state[6];       /* SQLSTATE of what failed last; "": the connection itself */
    char says[256];
};

/* ERROR_INVALID if libpq cannot read the address, or cannot be loaded. */
int server_check(const char *address, struct error *err);
/* As people are told: without a password. malloc'd. */
char *server_name(const char *address);

struct server *server_new(const char *address, enum server_use use);
void server_free(struct server *server); /* NULL is fine */
/* There is a connection, made anew if none is and no transaction is under way. False: server_fail()
 * says why. It has its share of the lock of being there. */
bool server_there(struct server *server);
/* Instead of its share it has all of that lock, waited for a second; false: other sessions are
 * there (server_fail()), and it has its share as before. */
bool server_alone(struct server *server);
void server_among_others(struct server *server); /* the reverse */
/* Begins a transaction that writes: no other daemon's does until it ends. What was committed before
 * is seen by all that it asks. */
extern const char SERVER_BEGIN[];
/* Tries for what no other session has; false: one has it, or the connection is lost. */
bool server_claim(struct server *server, int64_t key);
void server_unclaim(struct server *server, int64_t key);
/* It is there no more. */
bool server_lost(const struct server *server);
/* Any commands, as they are. NULL: server_fail(). Else server_clear() it. */
PGresult *server_run(struct server *server, const char *sql);
void server_clear(const struct server *server, PGresult *result); /* NULL is fine */
/* The result is as it should be; if not, it is cleared and its reason noted. */
bool server_took(struct server *server, PGresult *result);
/* Waits for what was sent. Whoever asked has gone (*dropped): it is cancelled. */
PGresult *server_wait(struct server *server, const atomic_bool *dropped);
/* What failed, where nobody but the caller knows. */
void server_note(struct server *server, const char *state, const char *says);
#define SERVER_UNKNOWN "08007" /* "transaction resolution unknown" */
#define SERVER_NEWER "OL001"   /* ours: the schema is another by now */
#define SERVER_OTHERS "OL002"  /* ours: others are there */
/* ERROR_BUSY: it is away; ERROR_UNREACHABLE, ERROR_LOST, ERROR_CONFLICT: the above. */
int server_fail(const struct server *server, struct error *err, const char *doing);

#endif
