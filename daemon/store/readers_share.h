/* Work on many things that readers share, so that a file of thousands of lines is not one thread's.
 */
#ifndef ODDLOAF_STORE_READERS_SHARE_H
#define ODDLOAF_STORE_READERS_SHARE_H

#include "store/readers.h"

struct readers_share {
    size_t count;
    /* Of one thing, from 0; each once, by any thread, in no order. What it writes is its own. */
    void (*each)(struct store *store, size_t index, void *arg);
    void *arg;
};

/* On a reader's thread: all of it is done when this returns, by this thread with its store and by
 * those others of `readers` that have nothing else to do, as far as there are processors for them.
 * Each of them sees one state of the store, the others' maybe a newer one; of whose plants this
 * store is asked (seen.h), the others' are, too. */
void readers_share(struct readers *readers, struct store *store, const struct readers_share *work);

#endif
