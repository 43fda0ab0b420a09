/* Inside store/ only: one connection to a PostgreSQL server. Lost, it is made anew by whoever asks
 * next outside a transaction, at most once in a while; what was prepared on it is prepared again.
 */
#ifndef ODDLOAF_STORE_SERVER_H
#define ODDLOAF_STORE_SERVER_H

#include "base/error.h"
#include <libpq-fe.h>
#include <stdatomic.h>
#include <stdint.h>

enum server_use { SERVER_READS, SERVER_WRITES };

struct server {
    PGconn *connection;
    char *address;
    enum server_use use;
    bool began;          /* a transaction, whatever became of it */
    bool ready;          /* its session is set up */
    unsigned generation; /* counts connections: what was prepared on another is gone */
    unsigned named;      /* statements of this connection */
    int64_t tried_ms;    /* monotonic, of the last try to connect that failed; 0: it did not */
    char state[6];       /* SQLSTATE of what failed last; "": the connection itself */
    char says[256];
};

/* ERROR_INVALID if libpq cannot read the address. */
int server_check(const char *address, struct error *err);
/* As people are told: without a password. malloc'd. */
char *server_name(const char *address);

struct server *server_new(const char *address, enum server_use use);
void server_free(struct server *server); /* NULL is fine */
/* There is a connection, made anew if none is and no transaction is under way. False: server_fail()
 * says why. One that writes has the lock of the one that writes. */
bool server_there(struct server *server);
/* It is there no more. */
bool server_lost(const struct server *server);
/* Any commands, as they are. NULL: server_fail(). Else PQclear() it. */
PGresult *server_run(struct server *server, const char *sql);
/* The result is as it should be; if not, it is cleared and its reason noted. */
bool server_took(struct server *server, PGresult *result);
/* Waits for what was sent. Whoever asked has gone (*dropped): it is cancelled. */
PGresult *server_wait(struct server *server, const atomic_bool *dropped);
/* What failed, where nobody but the caller knows. */
void server_note(struct server *server, const char *state, const char *says);
#define SERVER_UNKNOWN "08007" /* "transaction resolution unknown" */
/* ERROR_BUSY: it is away; ERROR_UNREACHABLE: SERVER_UNKNOWN. */
int server_fail(const struct server *server, struct error *err, const char *doing);

#endif
