/* Inside store/ only: the schema "oddloaf" of a PostgreSQL database. A new one is made from what
 * the migrations make of an empty file of SQLite's: its tables, what is in them, its indexes and
 * views, put into PostgreSQL's words (dialect.h). One of an earlier number is converted by the same
 * migrations, each number in one transaction. */
#ifndef ODDLOAF_STORE_SERVER_SCHEMA_H
#define ODDLOAF_STORE_SERVER_SCHEMA_H

#include "store/server.h"
#include "store/store.h"

/* Makes or converts it, if the store writes. ERROR_INVALID if it is of a schema to come, or another
 * program's. */
int server_schema_open(struct store *store, struct server *server, struct error *err);
/* One of that number, where there is none (ERROR_CONFLICT), with the rows of `from`, a file of the
 * same number's; NULL: of an empty one. *ret_rows: how many. */
int server_schema_make(struct server *server, int version, struct store *from, int64_t *ret_rows,
                       struct error *err);
/* Do the table's rows have numbers of their own, `id`? Negative: server_fail(). */
int server_schema_numbered(struct server *server, const char *table);

#endif
