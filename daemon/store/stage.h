/* How long what is done about complaints takes, from one stage to the next. The stages are those of
 * handling complaints as ISO 10002:2018 has them (its clause 7; from memory), in our words: taken
 * in (receipt), owned (assessed, and somebody is on it), found (investigated), answered (the caller
 * was told), settled (closed). */
#ifndef ODDLOAF_STORE_STAGE_H
#define ODDLOAF_STORE_STAGE_H

#include "base/when.h"
#include "store/store.h"

enum stage {
    STAGE_TAKEN_IN, /* from receipt to the record, of complaints received in the span */
    STAGE_OWNED,    /* from the first weighing to the first owner */
    STAGE_FOUND,    /* from the first owner to the verdict that stands */
    STAGE_ANSWERED, /* from the record of a report to the first answer to who sent it */
    STAGE_SETTLED,  /* from the first complaint to the verdict that stands */
    STAGES
};
/* Those that ended in the span; a callback's non-zero answer stops and is returned. */
typedef int (*stage_each)(void *arg, int64_t took_ms);
struct stage_of {
    struct when_span span;
    const char *plant; /* of that plant alone; NULL or "": all */
};
int stage_took(struct store *store, enum stage stage, const struct stage_of *of, stage_each each,
               void *arg, struct error *err);
/* How many are in it now: cases, of STAGE_ANSWERED callers; -1 where none can be known to be. */
int stage_waiting(struct store *store, enum stage stage, const char *plant, int64_t *ret,
                  struct error *err);

#endif
