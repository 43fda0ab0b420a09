/* What one of several daemons on a server is at, so that no other does the same: advisory locks of
 * the connection, which the server lets go of when that ends or its daemon stands still. Whoever
 * claims does so again and again on a connection that it uses every second. On a file, which has
 * one daemon, everything can be claimed.
 *
 * A claim saves work, and keeps a mail from leaving twice; what is written is right without it,
 * since a lost connection has lost its claims before its owner knows. */
#ifndef ODDLOAF_STORE_CLAIM_H
#define ODDLOAF_STORE_CLAIM_H

#include "store/store.h"

enum claim_of {
    CLAIM_CASE = 1, /* its ranking */
    CLAIM_DELIVERY, /* of a mail to one recipient: claim_of_text() */
    CLAIM_HOUSE     /* what goes by the clock, and what files of records call for; id 0 */
};

/* False: another has it, or it cannot be told now. Not twice without claim_drop(). */
bool claim_take(struct store *store, enum claim_of of, int64_t id);
void claim_drop(struct store *store, enum claim_of of, int64_t id);
/* An id for what is called so. */
int64_t claim_of_text(const char *text);
/* Changes when the connection was made anew: its claims are gone then. */
unsigned claim_connection(const struct store *store);

#endif
