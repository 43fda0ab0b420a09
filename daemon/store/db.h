/* Inside store/ only: SQL said once. A statement is prepared once a connection and kept by the
 * address of its text, which must be of static storage.
 *
 *     static const char SQL[] = "SELECT id, shift FROM lot WHERE line = ?1 AND units >= ?2";
 *     struct db_query q = db_query(store, SQL, DB(DB_TEXT(line), DB_INT(units)), err);
 *     int rc = 0;
 *     while (!rc && db_next(&q))
 *         rc = each(arg, db_int64(&q, 0), db_text(&q, 1));
 *     return db_end(&q, rc);
 *
 * What fails, early or late, stays in the query: db_next() is false from then on and db_end()
 * answers the code that stands in `err`; nobody between needs to look. Full disk: ERROR_NO_SPACE;
 * a broken constraint: ERROR_CONFLICT. The last row and db_end() reset the statement: an open read
 * keeps the WAL from shrinking. A connection has one open statement at a time: where a callback
 * may ask the database itself, the rows are read first, db_keep(). */
#ifndef ODDLOAF_STORE_DB_H
#define ODDLOAF_STORE_DB_H

#include "base/length.h"
#include "base/record_kind.h"
#include "store/store.h"
#include <math.h>

/* In SQL, for each engine understands another function's name: a line break, and the last of all
 * letters, by which what begins with a text is found. */
#define DB_LINE_BREAK "'\n'"
#define DB_LAST_LETTER "'\xF4\x8F\xBF\xBF'"

/* ---- what is bound ---- */

enum db_form { DB_IS_END, DB_IS_NULL, DB_IS_INT, DB_IS_REAL, DB_IS_TEXT, DB_IS_BYTES };
struct db_value {
    enum db_form form, of; /* of: what a NULL stands for, where that is known */
    int length;            /* of text or bytes; of text -1: to its end */
    union {
        int64_t integer;
        double real;
        const char *text; /* borrowed until the statement has ended */
    } as;
};

/* The parameters ?1, ?2 … in order; NULL in its place: there are none. */
#define DB(...) ((const struct db_value[]){__VA_ARGS__, {.form = DB_IS_END}})

/* Version 14 takes these names for macros. */
/* clang-format off */
static inline struct db_value DB_NULL(enum db_form of)
{
    return (struct db_value){.form = DB_IS_NULL, .of = of};
}

static inline struct db_value DB_INT(int64_t value)
{
    return (struct db_value){.form = DB_IS_INT, .as.integer = value};
}

static inline struct db_value DB_ID(int64_t id) /* <= 0 is NULL */
{
    return id > 0 ? DB_INT(id) : DB_NULL(DB_IS_INT);
}

static inline struct db_value DB_MS(int64_t ms) /* WHEN_UNKNOWN_MS is NULL */
{
    return ms != WHEN_UNKNOWN_MS ? DB_INT(ms) : DB_NULL(DB_IS_INT);
}

static inline struct db_value DB_DAY(int32_t day) /* WHEN_UNKNOWN_DAY is NULL */
{
    return day != WHEN_UNKNOWN_DAY ? DB_INT(day) : DB_NULL(DB_IS_INT);
}

static inline struct db_value DB_REAL(double value) /* NAN is NULL */
{
    return isnan(value) ? DB_NULL(DB_IS_REAL)
                        : (struct db_value){.form = DB_IS_REAL, .as.real = value};
}

static inline struct db_value DB_TEXT(const char *text) /* NULL is NULL */
{
    return text ? (struct db_value){.form = DB_IS_TEXT, .length = -1, .as.text = text}
                : DB_NULL(DB_IS_TEXT);
}

static inline struct db_value DB_SAID(const char *text) /* "" is NULL too */
{
    return text && *text ? DB_TEXT(text) : DB_NULL(DB_IS_TEXT);
}

static inline struct db_value DB_PIECE(const char *text, size_t length) /* its first bytes */
{
    return (struct db_value){.form = DB_IS_TEXT, .length = (int)length, .as.text = text};
}

static inline struct db_value DB_BYTES(const void *bytes, size_t length)
{
    return (struct db_value){.form = DB_IS_BYTES, .length = (int)length, .as.text = bytes};
}
/* clang-format on */

/* ---- running ---- */

struct db_query {
    struct store *store;
    void *statement;      /* NULL: it has ended */
    struct db_rows *kept; /* instead of the statement: db_keep() */
    struct error *err;
    int rc;   /* 0, or the negative code of what went wrong */
    int rows; /* given so far */
};

struct db_query db_query(struct store *store, const char *sql, const struct db_value *with,
                         struct error *err);
/* The same with the cells of a record. */
struct db_query db_query_cells(struct store *store, const char *sql,
                               const struct record_cell *cells, int count, struct error *err);
bool db_next(struct db_query *q); /* true: it stands on a row */
/* Before the first db_next(): reads all rows into memory and ends the statement, so that other
 * statements may run while these rows are gone through. For few rows: the statement limits them. */
void db_keep(struct db_query *q);
/* Ends it: what failed, or else `answer`. */
int db_end(struct db_query *q, int answer);
/* Ends it: what failed; ERROR_NOT_FOUND with this text if there was no row; or 0. */
int db_found(struct db_query *q, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A statement without rows. */
int db_run(struct store *store, const char *sql, const struct db_value *with, struct error *err);
/* Its first column in the first row; 0 if that is NULL or there is no row. */
int db_number(struct store *store, const char *sql, const struct db_value *with, int64_t *ret,
              struct error *err);
/* Its first column in all rows; the statement limits them to the capacity. */
int db_ids(struct store *store, const char *sql, const struct db_value *with, struct store_ids *ret,
           struct error *err);
/* The different names in an indexed column of a large table, from one to the next along the index
 * (a DISTINCT would look at every row): `first` and `next` select the least, of all and of those
 * after ?1. Begins with name "". */
struct db_names {
    const char *first, *next;
    char name[LENGTH_NAME + 1];
    bool begun;
    int rc; /* what failed; 0 */
};
bool db_next_name(struct store *store, struct db_names *names, struct error *err);
/* Any commands, not kept. */
int db_exec(struct store *store, const char *sql, struct error *err);

int db_changes(struct store *store);     /* rows that the last statement wrote */
int64_t db_last_id(struct store *store); /* of the last row added */

/* ---- columns of the row it stands on, from 0 ---- */

/* NULL gives 0, NAN, WHEN_UNKNOWN_*, "". Text lives until the next row. */
int db_int(struct db_query *q, int at);
int64_t db_int64(struct db_query *q, int at);
double db_real(struct db_query *q, int at);
int64_t db_ms(struct db_query *q, int at);
int32_t db_day(struct db_query *q, int at);
const char *db_text(struct db_query *q, int at);
/* Bytes of a row that was not kept: they live until the next row. */
const void *db_bytes(struct db_query *q, int at, size_t *ret_length);
void db_copy(struct db_query *q, int at, char *out, size_t size); /* cut to fit */
struct record_cell db_cell(struct db_query *q, int at);           /* text borrowed as above */

/* ---- the connection ---- */

/* `size` bytes of this connection's own, zeroed when first asked for: what a module remembers of
 * its last read. `key`: an address of static storage. Borrowed; gone with the store. */
void *db_memo(struct store *store, const void *key, size_t size);

#endif
