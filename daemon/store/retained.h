/* Retained samples: packs kept back from a lot and looked at until they show mold. */
#ifndef ODDLOAF_STORE_RETAINED_H
#define ODDLOAF_STORE_RETAINED_H

#include "store/store.h"

struct retained_sample {
    int64_t lot_id;
    double days;   /* first visible mold, or the end of the watch */
    bool none_yet; /* nothing seen by then */
};
/* A callback's non-zero answer stops and is returned. */
typedef int (*retained_each)(void *arg, const struct retained_sample *row);

struct retained_scope {
    const char *quantity;
    struct when_span packed; /* the lots */
    int limit;               /* samples given at the most */
};
/* The readings, the newest lots first, then the results entered by hand (store/measured.h). Left
 * out, and counted in *ret_blamed: samples of lots that a complaint is about (or is as likely as
 * not) or that have a standing verdict. A "none yet" that a later look at the same sample follows
 * is no sample. */
int retained_samples(struct store *store, const struct retained_scope *scope, retained_each each,
                     void *arg, int *ret_blamed, struct error *err);
/* When the newest lot was packed; WHEN_UNKNOWN_MS if there is none. */
int retained_newest(struct store *store, int64_t *ret_ms, struct error *err);

#endif
