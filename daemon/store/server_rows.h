/* Inside store/ only: all rows of all tables, from a database of SQLite's to a server and back.
 * Which tables, a blank one of the schema says (engine_sqlite.h); what words are found by is not
 * among them (entry_words.h). */
#ifndef ODDLOAF_STORE_SERVER_ROWS_H
#define ODDLOAF_STORE_SERVER_ROWS_H

#include "store/server.h"
#include "store/store.h"

struct server_rows;

int server_rows_new(struct store *blank, struct server_rows **ret, struct error *err);
void server_rows_free(struct server_rows *tables); /* NULL is fine */

/* In a transaction of the server's; its tables are empty. ERROR_INTERNAL if it counts other rows
 * than the file has. *ret_rows: how many. */
int server_rows_send(const struct server_rows *tables, struct store *from, struct server *to,
                     int64_t *ret_rows, struct error *err);
/* The same into a database of SQLite's, in a transaction of both: in the place of what it has. */
int server_rows_fetch(const struct server_rows *tables, struct server *from, struct store *to,
                      int64_t *ret_rows, struct error *err);

#endif
