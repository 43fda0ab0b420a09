#include "store/db.h"
#include "base/text.h"
#include "store/store_inside.h"
#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Says what the connection's last call failed at; answers its code. */
static int say(struct store *store, struct error *err, const char *doing)
{
    return store->engine->fail(store, err, doing);
}

/* ---- statements ---- */

static int prepare(struct store *store, const char *sql, void **ret, struct error *err)
{
    size_t at = ((uintptr_t)sql >> 3) * 2654435761u % DB_CACHE_SLOTS, probe = 0;
    while (store->cache[at].sql && store->cache[at].sql != sql) {
        if (++probe == DB_CACHE_SLOTS)
            return error_set(err, ERROR_INTERNAL, "more than %d statements", DB_CACHE_SLOTS);
        at = (at + 1) % DB_CACHE_SLOTS;
    }
    if (!store->cache[at].sql) {
        if (store->engine->prepare(store, sql, ret))
            return say(store, err, "the database refused a statement");
        store->cache[at].sql = sql;
        store->cache[at].statement = *ret;
    }
    *ret = store->cache[at].statement;
    return 0;
}

void db_forget(struct store *store)
{
    for (size_t i = 0; i < DB_CACHE_SLOTS; i++)
        if (store->cache[i].sql)
            store->engine->forget(store->cache[i].statement);
    for (size_t i = 0; i < DB_MEMOS; i++)
        free(store->memos[i].memo);
    memset(store->cache, 0, sizeof store->cache);
    memset(store->memos, 0, sizeof store->memos);
}

bool store_writing(const struct store *store)
{
    return store->mode == STORE_WRITE && store->engine->in_transaction(store);
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
    q->store->engine->reset(q->statement);
    q->statement = NULL;
    q->store->open--;
}

/* What breaks a constraint is an answer. */
static void fail(struct db_query *q, const char *doing)
{
    q->rc = say(q->store, q->err, doing);
    if (q->rc != ERROR_CONFLICT)
        say(q->store, &q->store->failed, doing); /* the first stays */
    reset(q);
}

static void bind(struct db_query *q, int at, const struct db_value *value)
{
    assert(at > 0 && q->statement);
    if (q->store->engine->bind(q->statement, at, value))
        fail(q, "the database refused a value");
}

static struct db_query begin(struct store *store, const char *sql, struct error *err)
{
    struct db_query q = {.store = store, .err = err};
    q.rc = prepare(store, sql, &q.statement, err);
    assert(q.rc || store->engine->only_reads(q.statement) || store_writing(store) ||
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
        return DB_PIECE(cell->text, cell->length);
    case RECORD_INTEGER:
        return DB_INT(cell->integer);
    case RECORD_NUMBER:
        return DB_REAL(cell->number);
    default:
        return DB_NULL(DB_IS_NULL);
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
    int step = q->store->engine->step(q->store, q->statement);
    if (step > 0) {
        q->rows++;
        return true;
    }
    if (step == 0)
        reset(q);
    else
        fail(q, "the database could not do it");
    return false;
}

void db_keep(struct db_query *q)
{
    struct db_rows rows = {0};
    int capacity = 0;
    assert(!q->kept && q->rows == 0);
    while (db_next(q)) {
        rows.columns = q->store->engine->columns(q->statement);
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
    return store->engine->exec(store, sql, err);
}

int db_changes(struct store *store)
{
    return store->engine->changes(store);
}

int64_t db_last_id(struct store *store)
{
    return store->engine->last_id(store);
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
    assert(q->statement && at >= 0 && at < q->store->engine->columns(q->statement));
    return q->store->engine->cell(q->statement, at);
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
    int64_t value;
    if (in_place(q, at) && q->store->engine->integer(q->statement, at, &value))
        return value;
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
    int64_t value;
    if (in_place(q, at) && q->store->engine->integer(q->statement, at, &value))
        return value;
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
    const char *text = in_place(q, at) ? q->store->engine->text(q->statement, at) : NULL;
    if (text)
        return text;
    struct record_cell cell = db_cell(q, at);
    assert(cell.form == RECORD_TEXT || cell.form == RECORD_NOTHING); /* numbers have no text */
    return cell.text ? cell.text : "";
}

const void *db_bytes(struct db_query *q, int at, size_t *ret_length)
{
    assert(q->statement && !q->kept);
    return q->store->engine->bytes(q->statement, at, ret_length);
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
