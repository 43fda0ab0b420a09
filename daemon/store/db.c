#include "store/db.h"
#include "base/text.h"
#include "store/store_inside.h"
#include <assert.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int db_code(int sqlite_code)
{
    switch (sqlite_code & 0xff) {
    case SQLITE_FULL:
        return ERROR_NO_SPACE;
    case SQLITE_CONSTRAINT:
        return ERROR_CONFLICT;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return ERROR_BUSY;
    case SQLITE_NOMEM:
        return ERROR_MEMORY;
    case SQLITE_TOOBIG:
        return ERROR_TOO_LARGE;
    default:
        return ERROR_IO;
    }
}

/* SQLite says "disk I/O error" for some full disks; the errno it kept tells them apart. */
int db_fail(struct store *store, struct error *err, const char *doing)
{
    int code = db_code(sqlite3_errcode(store->db));
    int system_errno = sqlite3_system_errno(store->db);
    /* the log's index finds no room in its file, whatever errno was left at */
    bool no_index = sqlite3_extended_errcode(store->db) == SQLITE_IOERR_SHMSIZE;
    if (code == ERROR_IO && (no_index || system_errno == ENOSPC || system_errno == EDQUOT))
        code = ERROR_NO_SPACE;
    error_set(err, (enum error_code)code, "%s: %s", doing, sqlite3_errmsg(store->db));
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the state directory, then try again");
    if (code == ERROR_IO)
        error_hint(err, "oddloaf status says what is known of the database; a damaged one is "
                        "replaced by a backup: oddloafd(8), BACKUP AND RESTORE");
    return code;
}

/* ---- statements ---- */

/* Reads the schema, a millisecond: on the thread that asks first, not while a dozen are opened one
 * after the other. */
static int make_ready(struct store *store, struct error *err)
{
    int rc = db_exec(store, "PRAGMA cache_size=-32768", err);
    store->ready = rc == 0;
    return rc;
}

static int prepare(struct store *store, const char *sql, sqlite3_stmt **ret, struct error *err)
{
    int rc = store->opened && !store->ready ? make_ready(store, err) : 0;
    if (rc)
        return rc;
    size_t at = ((uintptr_t)sql >> 3) * 2654435761u % DB_CACHE_SLOTS, probe = 0;
    while (store->cache[at].sql && store->cache[at].sql != sql) {
        if (++probe == DB_CACHE_SLOTS)
            return error_set(err, ERROR_INTERNAL, "more than %d statements", DB_CACHE_SLOTS);
        at = (at + 1) % DB_CACHE_SLOTS;
    }
    if (!store->cache[at].sql) {
        if (sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, ret, NULL))
            return db_fail(store, err, "the database refused a statement");
        store->cache[at].sql = sql;
        store->cache[at].statement = *ret;
    }
    *ret = store->cache[at].statement;
    return 0;
}

void db_forget(struct store *store)
{
    for (size_t i = 0; i < DB_CACHE_SLOTS; i++)
        sqlite3_finalize(store->cache[i].statement);
    for (size_t i = 0; i < DB_MEMOS; i++)
        free(store->memos[i].memo);
}

static int bind_value(sqlite3_stmt *statement, int at, const struct db_value *value)
{
    switch (value->form) {
    case DB_IS_INT:
        return sqlite3_bind_int64(statement, at, value->as.integer);
    case DB_IS_REAL:
        return sqlite3_bind_double(statement, at, value->as.real);
    case DB_IS_TEXT:
        return sqlite3_bind_text(statement, at, value->as.text, value->length, SQLITE_STATIC);
    case DB_IS_BYTES:
        return sqlite3_bind_blob(statement, at, value->as.text, value->length, SQLITE_STATIC);
    default: /* nothing is bound when a statement begins */
        return SQLITE_OK;
    }
}

bool store_writing(const struct store *store)
{
    return store->mode == STORE_WRITE && !sqlite3_get_autocommit(store->db);
}

/* Rows read ahead, one after the other. */
struct db_rows {
    int columns, count, at; /* at: the row after the one it stands on */
    struct record_cell *cells;
};

static void rows_free(struct db_rows *rows)
{
    assert(rows->at <= rows->count);
    for (int i = 0; i < rows->count * rows->columns; i++)
        free((char *)rows->cells[i].text);
    free(rows->cells);
    free(rows);
}

static void reset(struct db_query *q)
{
    assert(!q->statement || q->store->open == 1);
    if (q->kept)
        rows_free(q->kept);
    q->kept = NULL;
    if (!q->statement)
        return;
    sqlite3_reset(q->statement);
    sqlite3_clear_bindings(q->statement);
    q->statement = NULL;
    q->store->open--;
}

/* What breaks a constraint is an answer. */
static void fail(struct db_query *q, const char *doing)
{
    q->rc = db_fail(q->store, q->err, doing);
    if (q->rc != ERROR_CONFLICT)
        db_fail(q->store, &q->store->failed, doing); /* the first stays */
    reset(q);
}

static void bind(struct db_query *q, int at, const struct db_value *value)
{
    assert(at > 0 && q->statement);
    int rc = bind_value(q->statement, at, value);
    assert(rc != SQLITE_RANGE); /* more values than the statement has parameters */
    if (rc != SQLITE_OK)
        fail(q, "the database refused a value");
}

static struct db_query begin(struct store *store, const char *sql, struct error *err)
{
    struct db_query q = {.store = store, .err = err};
    q.rc = prepare(store, sql, &q.statement, err);
    assert(q.rc || sqlite3_stmt_readonly(q.statement) || store_writing(store) ||
           strncmp(sql, "BEGIN", 5) == 0);
    /* inside another's rows it would see what it changes itself, and the same text twice would
     * take the rows from under its caller */
    assert(store->open == 0);
    if (!q.rc)
        store->open++;
    return q;
}

struct db_query db_query(struct store *store, const char *sql, const struct db_value *with,
                         struct error *err)
{
    struct db_query q = begin(store, sql, err);
    for (int i = 0; !q.rc && with && with[i].form != DB_IS_END; i++)
        bind(&q, i + 1, &with[i]);
    return q;
}

static struct db_value value_of(const struct record_cell *cell)
{
    switch (cell->form) {
    case RECORD_TEXT:
        return (struct db_value){DB_IS_TEXT, (int)cell->length, {.text = cell->text}};
    case RECORD_INTEGER:
        return DB_INT(cell->integer);
    case RECORD_NUMBER:
        return DB_REAL(cell->number);
    default:
        return DB_NULL();
    }
}

struct db_query db_query_cells(struct store *store, const char *sql,
                               const struct record_cell *cells, int count, struct error *err)
{
    struct db_query q = begin(store, sql, err);
    for (int i = 0; !q.rc && i < count; i++) {
        struct db_value value = value_of(&cells[i]);
        bind(&q, i + 1, &value);
    }
    return q;
}

static bool next_kept(struct db_query *q)
{
    assert(q->kept->at <= q->kept->count);
    if (q->kept->at == q->kept->count) {
        reset(q);
        return false;
    }
    q->kept->at++;
    q->rows++;
    return true;
}

bool db_next(struct db_query *q)
{
    if (q->kept)
        return next_kept(q);
    if (!q->statement)
        return false;
    int step = sqlite3_step(q->statement);
    if (step == SQLITE_ROW) {
        q->rows++;
        return true;
    }
    if (step == SQLITE_DONE)
        reset(q);
    else
        fail(q, "the database could not do it");
    return false;
}

void db_keep(struct db_query *q)
{
    struct db_rows rows = {.columns = q->statement ? sqlite3_column_count(q->statement) : 0};
    int capacity = 0;
    assert(!q->kept && q->rows == 0);
    while (db_next(q)) {
        if (rows.count == capacity) {
            capacity = capacity ? 2 * capacity : 8;
            rows.cells =
                xrealloc(rows.cells, (size_t)(capacity * rows.columns) * sizeof *rows.cells);
        }
        for (int i = 0; i < rows.columns; i++) {
            struct record_cell cell = db_cell(q, i);
            if (cell.form == RECORD_TEXT)
                cell.text = xstrndup(cell.text, cell.length);
            rows.cells[rows.count * rows.columns + i] = cell;
        }
        assert(rows.count < capacity);
        rows.count++;
    }
    assert(rows.count == q->rows);
    q->rows = 0;
    q->kept = xcalloc(1, sizeof *q->kept);
    *q->kept = rows;
    if (q->rc)
        reset(q);
}

int db_end(struct db_query *q, int answer)
{
    reset(q);
    return q->rc ? q->rc : answer;
}

int db_found(struct db_query *q, const char *format, ...)
{
    reset(q);
    if (q->rc || q->rows)
        return q->rc;
    char text[256];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    return error_set(q->err, ERROR_NOT_FOUND, "%s", text);
}

int db_run(struct store *store, const char *sql, const struct db_value *with, struct error *err)
{
    struct db_query q = db_query(store, sql, with, err);
    db_next(&q);
    return db_end(&q, 0);
}

int db_number(struct store *store, const char *sql, const struct db_value *with, int64_t *ret,
              struct error *err)
{
    struct db_query q = db_query(store, sql, with, err);
    int64_t number = db_next(&q) ? db_int64(&q, 0) : 0;
    int rc = db_end(&q, 0);
    if (!rc)
        *ret = number;
    return rc;
}

int db_ids(struct store *store, const char *sql, const struct db_value *with, struct store_ids *ret,
           struct error *err)
{
    struct db_query q = db_query(store, sql, with, err);
    while (db_next(&q)) {
        assert(q.rows <= ret->capacity); /* the statement's LIMIT is */
        ret->id[q.rows - 1] = db_int64(&q, 0);
    }
    ret->count = q.rows;
    return db_end(&q, 0);
}

bool db_next_name(struct store *store, struct db_names *names, struct error *err)
{
    struct db_query q = names->begun ? db_query(store, names->next, DB(DB_TEXT(names->name)), err)
                                     : db_query(store, names->first, NULL, err);
    bool more = db_next(&q) && db_cell(&q, 0).form == RECORD_TEXT; /* "" is a name too */
    if (more)
        db_copy(&q, 0, names->name, sizeof names->name);
    names->begun = true;
    names->rc = db_end(&q, 0);
    return more && !names->rc;
}

int db_exec(struct store *store, const char *sql, struct error *err)
{
    if (sqlite3_exec(store->db, sql, NULL, NULL, NULL) == SQLITE_OK)
        return 0;
    return db_fail(store, err, "the database refused a command");
}

int db_changes(struct store *store)
{
    return sqlite3_changes(store->db);
}

int64_t db_last_id(struct store *store)
{
    return sqlite3_last_insert_rowid(store->db);
}

/* ---- columns ---- */

static const struct record_cell *kept_cell(const struct db_query *q, int at)
{
    const struct db_rows *rows = q->kept;
    assert(rows->at > 0 && at < rows->columns);
    return &rows->cells[(rows->at - 1) * rows->columns + at];
}

struct record_cell db_cell(struct db_query *q, int at)
{
    if (q->kept)
        return *kept_cell(q, at);
    struct record_cell cell = {.form = RECORD_NOTHING};
    assert(q->statement && at >= 0 && at < sqlite3_column_count(q->statement));
    switch (sqlite3_column_type(q->statement, at)) {
    case SQLITE_INTEGER:
        cell.form = RECORD_INTEGER;
        cell.integer = sqlite3_column_int64(q->statement, at);
        break;
    case SQLITE_FLOAT:
        cell.form = RECORD_NUMBER;
        cell.number = sqlite3_column_double(q->statement, at);
        break;
    case SQLITE_TEXT:
        cell.form = RECORD_TEXT;
        cell.text = (const char *)sqlite3_column_text(q->statement, at);
        cell.length = (uint32_t)sqlite3_column_bytes(q->statement, at);
        break;
    default:
        break;
    }
    return cell;
}

int db_int(struct db_query *q, int at)
{
    return (int)db_int64(q, at);
}

/* Most columns are read in place: a cell with its form is three calls more. */
static bool in_place(const struct db_query *q, int at)
{
    assert(q->kept || (q->statement && at >= 0));
    (void)at;
    return !q->kept;
}

int64_t db_int64(struct db_query *q, int at)
{
    if (in_place(q, at))
        return sqlite3_column_int64(q->statement, at);
    struct record_cell cell = db_cell(q, at);
    return cell.form == RECORD_NUMBER ? (int64_t)cell.number : cell.integer;
}

double db_real(struct db_query *q, int at)
{
    struct record_cell cell = db_cell(q, at);
    if (cell.form == RECORD_NUMBER)
        return cell.number;
    return cell.form == RECORD_INTEGER ? (double)cell.integer : NAN;
}

int64_t db_ms(struct db_query *q, int at)
{
    if (in_place(q, at) && sqlite3_column_type(q->statement, at) == SQLITE_INTEGER)
        return sqlite3_column_int64(q->statement, at);
    struct record_cell cell = db_cell(q, at);
    return cell.form == RECORD_NOTHING ? WHEN_UNKNOWN_MS : cell.integer;
}

int32_t db_day(struct db_query *q, int at)
{
    struct record_cell cell = db_cell(q, at);
    return cell.form == RECORD_NOTHING ? WHEN_UNKNOWN_DAY : (int32_t)cell.integer;
}

const char *db_text(struct db_query *q, int at)
{
    const unsigned char *text =
        in_place(q, at) && sqlite3_column_type(q->statement, at) == SQLITE_TEXT
            ? sqlite3_column_text(q->statement, at)
            : NULL;
    if (text)
        return (const char *)text;
    struct record_cell cell = db_cell(q, at);
    assert(cell.form == RECORD_TEXT || cell.form == RECORD_NOTHING); /* numbers have no text */
    return cell.text ? cell.text : "";
}

const void *db_bytes(struct db_query *q, int at, size_t *ret_length)
{
    assert(q->statement && !q->kept);
    const void *bytes = sqlite3_column_blob(q->statement, at);
    *ret_length = (size_t)sqlite3_column_bytes(q->statement, at);
    return bytes;
}

void db_copy(struct db_query *q, int at, char *out, size_t size)
{
    assert(out && size > 0);
    const char *text = db_text(q, at);
    size_t length = strnlen(text, size);
    if (length < size)
        memcpy(out, text, length + 1);
    else
        text_clip(text, out, size);
}

/* ---- the connection ---- */

void *db_memo(struct store *store, const void *key, size_t size)
{
    assert(key && size > 0);
    size_t i = 0;
    while (i < DB_MEMOS - 1 && store->memos[i].key && store->memos[i].key != key)
        i++;
    if (store->memos[i].key != key) {
        free(store->memos[i].memo);
        store->memos[i].key = key;
        store->memos[i].memo = xcalloc(1, size);
    }
    return store->memos[i].memo;
}
