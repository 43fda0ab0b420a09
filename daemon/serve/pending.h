/* A request under way, from its head to the end of its answer, and who sent it. It is the
 * connection's while the loop has it, and outlives the connection while a reader has it. */
#ifndef ODDLOAF_SERVE_PENDING_H
#define ODDLOAF_SERVE_PENDING_H

#include "serve/app.h"
#include "serve/route.h"
#include "serve/ways.h"
#include <stdatomic.h>

struct pending {
    struct request request;
    struct way *way;
    struct conn *conn;         /* NULL: it has gone */
    const struct route *route; /* NULL until it is found */
    struct door_peer *long_of; /* counts as long work of that peer */
    bool local, away;          /* away: with a reader */
    bool begun;                /* a piece of the answer has left */
    atomic_bool dropped;       /* its client has gone: what is asked is not read on */
    uid_t uid;
    json_t *certificate_roles; /* words of roles; NULL: no certificate names any */
    char *token;               /* NULL: none was brought */
    struct setup *setup;       /* NULL until a reader has it */
    struct store *asked; /* by a question, until it is answered: what its answer was read from */
    struct request_answer answer;
    struct pending *next;
};

/* Of the head that `conn` has read. Loop thread. */
struct pending *pending_new(struct app *app, struct way *way, struct conn *conn);
/* Loop thread: its long work ends at the door. */
void pending_free(struct pending *pending);
/* It changes nothing: once its client has gone nobody needs it. */
bool pending_asks(const struct pending *pending);
/* It brought something that it may be known by. */
bool pending_is_known(const struct pending *pending);
/* Who asks, and whether that may: fills request.user, request.roles and which plants are seen by
 * the set in pending->setup. ERROR_DENIED names the role it takes. Looks users up: not on the loop
 * thread. */
int pending_check_role(struct pending *pending, struct error *err);

#endif
