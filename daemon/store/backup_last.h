/* Which backup was the last: noted in the database itself, wherever the copy is. */
#ifndef ODDLOAF_STORE_BACKUP_LAST_H
#define ODDLOAF_STORE_BACKUP_LAST_H

#include "store/store.h"

struct backup_last {
    int64_t at_ms; /* WHEN_UNKNOWN_MS: none */
    char path[512];
    bool is_there; /* still */
};
/* Inside the writer's transaction. */
int backup_last_note(struct store *store, const char *path, int64_t at_ms, struct error *err);
int backup_last_get(struct store *store, struct backup_last *ret, struct error *err);

#endif
