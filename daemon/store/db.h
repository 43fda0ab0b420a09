/* Inside store/ only: statements, cached per connection by the address of their SQL text.
 *
 *     static const char SQL_LOT[] = "SELECT id FROM lot WHERE lot = ?1";
 *     sqlite3_stmt *st = db_prepare(store, SQL_LOT, err);
 *     if (!st) return err_code;
 *     db_bind_text(st, 1, code);
 *     int rc = db_step(store, st, err);          // 1 a row, 0 done, <0 error
 *     int64_t id = sqlite3_column_int64(st, 0);
 *     db_reset(st);                              // always: an open read keeps the WAL from
 * shrinking
 */
#ifndef ODDLOAF_STORE_DB_H
#define ODDLOAF_STORE_DB_H

#include "store/store.h"
#include <sqlite3.h>

/* `size` bytes of this connection's own, zeroed when first asked for: what a module remembers of
 * its last read. `key`: an address of static storage. Borrowed; gone with the store. */
void *db_memo(struct store *store, const void *key, size_t size);
/* SQL must be a string with static storage (its address is the cache key). NULL on error. */
sqlite3_stmt *db_prepare(struct store *store, const char *sql, struct error *err);
/* 1 a row, 0 done, negative error_code (full disk: ERROR_NO_SPACE; constraint: ERROR_CONFLICT). */
int db_step(struct store *store, sqlite3_stmt *st, struct error *err);
/* Steps a statement that returns no rows, then resets it. 0 or negative. */
int db_run(struct store *store, sqlite3_stmt *st, struct error *err);
void db_reset(sqlite3_stmt *st); /* resets and clears bindings */
int db_exec(struct store *store, const char *sql, struct error *err);
sqlite3 *db_handle(struct store *store);

/* Binding with our conventions: NULL text, NAN, WHEN_UNKNOWN_* and negative ids bind NULL. */
void db_bind_text(sqlite3_stmt *st, int at, const char *text); /* copies */
void db_bind_int(sqlite3_stmt *st, int at, int64_t value);
void db_bind_id(sqlite3_stmt *st, int at, int64_t id);     /* <= 0 binds NULL */
void db_bind_real(sqlite3_stmt *st, int at, double value); /* NAN binds NULL */
void db_bind_ms(sqlite3_stmt *st, int at, int64_t ms);
void db_bind_day(sqlite3_stmt *st, int at, int32_t day);
/* Reading: NULL columns give "", NAN, WHEN_UNKNOWN_*. Text lives until the next step. */
const char *db_text(sqlite3_stmt *st, int at);
double db_real(sqlite3_stmt *st, int at);
int64_t db_ms(sqlite3_stmt *st, int at);
int32_t db_day(sqlite3_stmt *st, int at);

#endif
