/* Which store or route of the dispatches is meant by what people type or say: "417", "0417" and
 * "store 417" are one, and "Elm Street" is part of "Harrow Elm Street". */
#ifndef ODDLOAF_LOTS_OUTLET_NAMED_H
#define ODDLOAF_LOTS_OUTLET_NAMED_H

#include "base/length.h"
#include "store/lot_find.h"

enum { OUTLET_NAMED_MOST = 8 };

struct outlet_named {
    bool unrecorded; /* no dispatch names any: nothing can be said */
    bool more;       /* fit than there is room for */
    bool part;       /* what was said is a part of its name, and may be another place's */
    size_t count;    /* 1: that is it; several: none is taken for the one */
    char name[OUTLET_NAMED_MOST][LENGTH_TRADE + 1]; /* as on record */
};

/* NULL or "" finds none, which is no error. */
int outlet_named_find(struct store *store, enum lot_find_place kind, const char *said,
                      struct outlet_named *ret, struct error *err);
/* The name on record if one is meant, else "": what was said may hold anything. */
const char *outlet_named_one(const struct outlet_named *named);

#endif
