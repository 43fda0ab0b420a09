/* How fresh the records of each plant's lines are: when the newest of each kind is from. */
#ifndef ODDLOAF_STORE_FRESHNESS_H
#define ODDLOAF_STORE_FRESHNESS_H

#include "base/record_kind.h"
#include "store/store.h"

struct freshness {
    enum record_kind kind; /* lots, mixes, uses, readings, dispatch, plantlog */
    const char *plant;     /* "" not named */
    const char *line;      /* "" of a plant log entry that names none */
    /* the end of packing of the line's newest lot that has such a record; of a plant log entry its
     * own time; WHEN_UNKNOWN_MS: among the line's newest lots, some thousands, none has */
    int64_t at_ms;
};
typedef int (*freshness_each)(void *arg, const struct freshness *one);
/* Line after line, in the order of their plants and names, what its lots have, kinds in the order
 * above; then the lines of the plant log, of which some dozens are told. Texts live until the
 * callback returns; its non-zero answer stops and is returned. */
int freshness_list(struct store *store, freshness_each each, void *arg, struct error *err);

#endif
