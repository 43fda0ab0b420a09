/* Which backup was the last: noted in the database itself, wherever the copy is. */
#ifndef ODDLOAF_STORE_BACKUP_LAST_H
#define ODDLOAF_STORE_BACKUP_LAST_H

#include "store/writer.h"

struct backup_last {
    int64_t at_ms; /* WHEN_UNKNOWN_MS: none */
    char path[512];
    bool is_there; /* still */
};
/* As a job of the writer's, waiting for its commit: not from inside one. */
int backup_last_note(struct writer *writer, const char *path, int64_t at_ms, struct error *err);
/* Says at_ms WHEN_UNKNOWN_MS where none was noted. */
int backup_last_get(struct store *store, struct backup_last *ret, struct error *err);

#endif
