/* What was changed of a complaint, by whom and why: kept for ever. Writing runs inside the writer's
 * transaction. */
#ifndef ODDLOAF_STORE_CHANGE_H
#define ODDLOAF_STORE_CHANGE_H

#include "store/store.h"

/* Text lives until the callback returns. */
struct change_row {
    int64_t id;            /* of the row; 0 for one to add */
    const char *complaint; /* uuid */
    int64_t at_ms;
    const char *by, *reason;
    const char *field, *was, *now; /* was, now: "" nothing */
};

/* Of `change` all but id, field, was and now counts. Nothing is written where nothing changed. */
int change_add(struct store *store, const struct change_row *change, const char *field,
               const char *was, const char *now, struct error *err);

/* The id of the one that was added last, in this transaction. */
int change_newest(struct store *store, int64_t *ret, struct error *err);

/* What was said is without contact data that became known since: writes reason, was and now. */
int change_rewrite(struct store *store, const struct change_row *change, struct error *err);

typedef int (*change_each)(void *arg, const struct change_row *row);
/* Oldest first; a callback may write. A callback's non-zero answer stops and is returned. */
int change_of(struct store *store, const char *complaint, change_each each, void *arg,
              struct error *err);

#endif
