/* Answers that take a core for seconds and that several people ask for at once: one of them makes
 * it, the others wait for it, and whoever asks within a minute has it too, unless something was
 * written meanwhile. Thread-safe. */
#ifndef ODDLOAF_SERVE_KEPT_H
#define ODDLOAF_SERVE_KEPT_H

#include "store/store.h"

struct kept;

struct kept *kept_new(void);
void kept_free(struct kept *k); /* NULL is fine */

struct kept_asked {
    const char *key;  /* all that was asked for, and of which rules */
    uint64_t written; /* how often anything was written, read before the store is: writer.h */
    int64_t now_ms;
};

/* What was made of it, malloc'd. NULL: the caller is to make it, and to hand it to kept_put() under
 * *ret_turn whatever becomes of it. Waits for whoever is at it; not once nobody waits for `store`
 * any more (store_is_dropped(); NULL: always somebody does). */
char *kept_take(struct kept *k, const struct kept_asked *asked, const struct store *store,
                uint64_t *ret_turn);
/* Copied, what is longer than some megabytes is not kept. NULL: it failed, the next one who waits
 * is to make it. */
void kept_put(struct kept *k, uint64_t turn, const char *text);

#endif
