/* Inside store/ only, and only until its last caller is gone: statements in single steps. */
#ifndef ODDLOAF_STORE_DB_OLD_H
#define ODDLOAF_STORE_DB_OLD_H

#include "store/db.h"
#include <sqlite3.h>

sqlite3_stmt *db_prepare(struct store *store, const char *sql, struct error *err);
int db_step(struct store *store, sqlite3_stmt *st, struct error *err);
int db_run_old(struct store *store, sqlite3_stmt *st, struct error *err);
void db_reset(sqlite3_stmt *st);
sqlite3 *db_handle(struct store *store);
void db_bind_text(sqlite3_stmt *st, int at, const char *text);
void db_bind_int(sqlite3_stmt *st, int at, int64_t value);
void db_bind_id(sqlite3_stmt *st, int at, int64_t id);
void db_bind_real(sqlite3_stmt *st, int at, double value);
void db_bind_ms(sqlite3_stmt *st, int at, int64_t ms);
void db_bind_day(sqlite3_stmt *st, int at, int32_t day);

static inline struct db_query db_old(sqlite3_stmt *st)
{
    return (struct db_query){.statement = st};
}
static inline const char *db_text_old(sqlite3_stmt *st, int at)
{
    struct db_query q = db_old(st);
    return db_text(&q, at);
}
static inline double db_real_old(sqlite3_stmt *st, int at)
{
    struct db_query q = db_old(st);
    return db_real(&q, at);
}
static inline int64_t db_ms_old(sqlite3_stmt *st, int at)
{
    struct db_query q = db_old(st);
    return db_ms(&q, at);
}
static inline int32_t db_day_old(sqlite3_stmt *st, int at)
{
    struct db_query q = db_old(st);
    return db_day(&q, at);
}
#define db_text(from, at)                                                                          \
    _Generic((from), sqlite3_stmt * : db_text_old, default : db_text)(from, at)
#define db_real(from, at)                                                                          \
    _Generic((from), sqlite3_stmt * : db_real_old, default : db_real)(from, at)
#define db_ms(from, at) _Generic((from), sqlite3_stmt * : db_ms_old, default : db_ms)(from, at)
#define db_day(from, at) _Generic((from), sqlite3_stmt * : db_day_old, default : db_day)(from, at)
#define db_run(store, what, ...)                                                                   \
    _Generic((what), sqlite3_stmt * : db_run_old, default : db_run)(store, what, __VA_ARGS__)

#endif
