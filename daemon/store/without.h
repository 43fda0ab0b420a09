/* The store as it would be if one kind of record had never been kept. */
#ifndef ODDLOAF_STORE_WITHOUT_H
#define ODDLOAF_STORE_WITHOUT_H

#include "base/record_kind.h"
#include "store/store.h"

struct without {
    enum record_kind kind; /* mixes, uses, readings, dispatch */
    const char *what;      /* of uses the material, of readings the quantity; else "" */
};

/* A read-only connection of its own to the same database, whose look-ups find none of those rows.
 * store_close() ends it. Nothing is written. */
int without_open(const struct store *store, const struct without *hidden, struct store **ret,
                 struct error *err);

#endif
