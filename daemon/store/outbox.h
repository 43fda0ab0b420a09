/* Mail that waits to leave, in rows of the commit that made it due. */
#ifndef ODDLOAF_STORE_OUTBOX_H
#define ODDLOAF_STORE_OUTBOX_H

#include "store/store.h"

struct outbox_row {
    int64_t id, case_id, created_ms, due_ms;
    int revision, attempts;
    char event[16]; /* case, urgent, digest */
    char message_id[128];
    char *payload; /* malloc'd JSON */
};
void outbox_row_free(struct outbox_row *row);
/* message_id is made by the caller once and stays; ERROR_CONFLICT never: a message_id already there
 * is left as it is. */
int outbox_add(struct store *store, const char *event, int64_t case_id, int revision,
               const char *message_id, const char *payload, int64_t now_ms, struct error *err);
int outbox_due(struct store *store, int64_t now_ms, struct outbox_row *rows, int limit,
               int *ret_count, struct error *err);
int outbox_sent(struct store *store, int64_t id, int64_t now_ms, struct error *err);
/* Failed: due again at `due_ms`, or parked. */
int outbox_failed(struct store *store, int64_t id, int64_t due_ms, bool park, const char *why,
                  struct error *err);
/* Parked rows become waiting again (after the mail server was mended). */
int outbox_unpark(struct store *store, int64_t now_ms, int *ret_count, struct error *err);
struct outbox_counts {
    int64_t waiting, parked, sent;
    char last_error[256];
};
int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err);

#endif
