/* Inside store/ only: SQLite, one file in the state's folder. Only what copies, checks and replaces
 * that file (backup.h, restore.h, integrity.h) calls SQLite besides. */
#ifndef ODDLOAF_STORE_ENGINE_SQLITE_H
#define ODDLOAF_STORE_ENGINE_SQLITE_H

#include "store/engine.h"

/* ERROR_INVALID if the file is another program's, or of a schema to come; 0: a new one. */
int engine_sqlite_identify(struct store *store, int *ret_version, struct error *err);
/* A new database of this schema, in a new file, NULL: in memory; engine_sqlite_drop() ends it. */
int engine_sqlite_blank(const char *path, int version, struct store **ret, struct error *err);
void engine_sqlite_drop(struct store *blank); /* NULL is fine */

#endif
