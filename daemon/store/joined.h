/* Reports joined to the complaint they repeat: the same person told us twice. A joined report is
 * kept whole, counted by nothing, and can be separated again. Writing functions run inside the
 * writer's transaction; what the complaint says as a whole is written by complaint_rewrite(). */
#ifndef ODDLOAF_STORE_JOINED_H
#define ODDLOAF_STORE_JOINED_H

#include "store/store.h"

/* Text is borrowed; of a row read, it lives until the callback returns. */
struct joined_row {
    int64_t complaint_id; /* joined to this one */
    int64_t received_ms, logged_ms, joined_ms;
    const char *uuid, *body; /* body: JSON without contact */
    const char *complaint;   /* read only: uuid of the complaint */
};
typedef int (*joined_each)(void *arg, const struct joined_row *row);

/* Keeps what the complaint says by itself, if nothing was joined to it so far. */
int joined_add(struct store *store, const struct joined_row *row, struct error *err);
/* What a report says was corrected. */
int joined_rewrite(struct store *store, const char *uuid, int64_t received_ms, const char *body,
                   struct error *err);
int joined_remove(struct store *store, const char *uuid, struct error *err);
/* All that is joined to one complaint, its contacts with it, becomes joined to another; what the
 * one said by itself before is forgotten. */
int joined_move(struct store *store, int64_t complaint_id, int64_t to_complaint_id,
                struct error *err);
/* Of one complaint, in the order they were joined. */
int joined_of(struct store *store, int64_t complaint_id, joined_each each, void *arg,
              struct error *err);
/* Of all complaints of a case, by complaint and order. */
int joined_of_case(struct store *store, int64_t case_id, joined_each each, void *arg,
                   struct error *err);
/* ERROR_NOT_FOUND if no such report is joined to anything. */
int joined_by_uuid(struct store *store, const char *uuid, joined_each each, void *arg,
                   struct error *err);
/* What the complaint said before anything was joined to it; *ret malloc'd, NULL if nothing is. */
int joined_first(struct store *store, int64_t complaint_id, char **ret, struct error *err);
/* What it said then was corrected; does nothing if nothing is joined to it. */
int joined_first_put(struct store *store, int64_t complaint_id, const char *body,
                     struct error *err);
/* Forgets that, once nothing is joined to it any more. */
int joined_first_remove(struct store *store, int64_t complaint_id, struct error *err);

#endif
