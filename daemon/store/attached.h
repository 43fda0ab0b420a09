/* Photos and reports that belong to a complaint or a case. A file is kept once, by its SHA-256,
 * however often it is attached; the last that is detached takes it away. Of what is detached stays
 * that it was there, under which name, who took it away, when and why. */
#ifndef ODDLOAF_STORE_ATTACHED_H
#define ODDLOAF_STORE_ATTACHED_H

#include "store/store.h"
#include <stddef.h>

/* Text lives until the callback returns, or is the caller's. */
struct attached_row {
    int64_t id;
    int64_t case_id, complaint_id; /* one of them; the other 0 */
    const char *complaint;         /* uuid; "" of a case. Not to put */
    const char *name, *type, *sha256;
    const void *data;       /* to put only */
    int64_t bytes, removed; /* removed: of what came, left out with what it told of its owner */
    const char *by_name, *user;
    int64_t at_ms;
};
/* How much may be attached: bytes, 0 any. */
struct attached_limits {
    int64_t case_bytes; /* to one complaint, or one case with its complaints */
    int64_t user_bytes; /* by one user within a day */
};

/* In the writer's transaction. *ret_id: its number; *ret_again: the same file was attached there
 * already, and nothing was written. ERROR_TOO_LARGE beyond a limit. */
int attached_put(struct store *store, const struct attached_row *row,
                 const struct attached_limits *limits, int64_t *ret_id, bool *ret_again,
                 struct error *err);

struct attached_end {
    int64_t id;
    const char *by_name, *reason;
    int64_t at_ms;
};
/* ERROR_NOT_FOUND if there is none. In the writer's transaction. */
int attached_detach(struct store *store, const struct attached_end *end, struct error *err);
/* All of a complaint: whoever reported it is erased, and has a mark (store/erasures.h), whose time
 * is when it ended. What it was called goes as well. In the writer's transaction. */
int attached_erase(struct store *store, int64_t complaint_id, struct error *err);

typedef int (*attached_each)(void *arg, const struct attached_row *row);
/* Those of a case and of its complaints, or of one complaint (the other id 0), the oldest first. A
 * callback's non-zero answer stops and is returned; it may ask the database itself. */
int attached_of(struct store *store, int64_t case_id, int64_t complaint_id, attached_each each,
                void *arg, struct error *err);
/* The one of that number with its bytes (malloc'd, the caller's even on failure; NULL: they are not
 * looked at, so that what is damaged can be named and detached). ERROR_NOT_FOUND if there is none;
 * ERROR_INTERNAL if its bytes are not those that were kept. */
int attached_get(struct store *store, int64_t id, attached_each each, void *arg, char **ret_bytes,
                 struct error *err);

#endif
