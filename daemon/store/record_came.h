/* When a lot's first record of each kind came in, by the daemon's clock: what was late, and what
 * came only after somebody had complained. */
#ifndef ODDLOAF_STORE_RECORD_CAME_H
#define ODDLOAF_STORE_RECORD_CAME_H

#include "base/record_kind.h"
#include "store/store.h"

/* A record of that kind is new for a lot; only the first counts. In the writer's transaction. */
int record_came_note(struct store *store, int64_t lot_id, enum record_kind kind, int64_t now_ms,
                     struct error *err);

struct record_came {
    const char *plant, *line, *kind; /* live until the callback returns */
    int64_t packed_ms;               /* end of packing */
    int64_t came_ms;
    int64_t complained_ms; /* when the first complaint about the lot was logged; or unknown */
};
typedef int (*record_came_each)(void *arg, const struct record_came *one);
/* Of the lots packed in the span, by plant, line, kind and time of packing; of what was on record
 * before this was kept nothing is said. Non-zero from `each` stops and is returned. */
int record_came_list(struct store *store, struct when_span packed, record_came_each each, void *arg,
                     struct error *err);

#endif
