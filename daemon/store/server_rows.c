#include "store/server_rows.h"
#include "base/text.h"
#include "store/db.h"
#include "store/dialect.h"
#include "store/store_inside.h"
#include <stdlib.h>
#include <string.h>

struct table {
    char *name;
    char *count, *clear;
    char *rows, *copy;     /* asks SQLite for all columns; the server takes them */
    char *cursor, *insert; /* of the server's rows; SQLite takes them */
};
struct server_rows {
    struct table *table;
    int count;
};

/* ---- which ---- */

static char *statement(const char *begin, const char *table, const char *end)
{
    struct text_buffer sql = {0};
    text_appendf(&sql, "%s\"%s\"%s", begin, table, end);
    return text_take(&sql);
}

/* `columns` in quotes, with commas. */
static struct table table_of(const char *name, const char *columns, int count)
{
    struct text_buffer cursor = {0}, insert = {0}, rows = {0}, copy = {0};
    text_appendf(&rows, "SELECT %s FROM \"%s\"", columns, name);
    text_appendf(&copy, "COPY \"%s\"(%s) FROM STDIN", name, columns);
    text_appendf(&cursor, "DECLARE moved NO SCROLL CURSOR FOR SELECT %s FROM \"%s\"", columns,
                 name);
    if (strcmp(name, DIALECT_ORDERED) == 0)
        text_append(&cursor, " ORDER BY rowid");
    text_appendf(&insert, "INSERT INTO \"%s\"(%s) VALUES(", name, columns);
    for (int i = 1; i <= count; i++)
        text_appendf(&insert, "%s?%d", i > 1 ? ", " : "", i);
    text_append(&insert, ")");
    return (struct table){.name = xstrdup(name),
                          .count = statement("SELECT count(*) FROM ", name, ""),
                          .clear = statement("DELETE FROM ", name, ""),
                          .rows = text_take(&rows),
                          .copy = text_take(&copy),
                          .cursor = text_take(&cursor),
                          .insert = text_take(&insert)};
}

int server_rows_new(struct store *blank, struct server_rows **ret, struct error *err)
{
    static const char SQL[] =
        "SELECT m.name, group_concat('\"' || p.name || '\"', ', '), count(*) FROM sqlite_schema m,"
        " pragma_table_info(m.name) p WHERE m.type = 'table' AND m.name NOT LIKE"
        " 'entry\\_words%' ESCAPE '\\' AND m.name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        " GROUP BY m.name ORDER BY m.rowid";
    struct server_rows *tables = xcalloc(1, sizeof *tables);
    struct db_query q = db_query(blank, SQL, NULL, err);
    while (db_next(&q)) {
        tables->table =
            xrealloc(tables->table, (size_t)(tables->count + 1) * sizeof *tables->table);
        tables->table[tables->count++] = table_of(db_text(&q, 0), db_text(&q, 1), db_int(&q, 2));
    }
    int rc = db_end(&q, 0);
    if (rc)
        server_rows_free(tables);
    else
        *ret = tables;
    return rc;
}

void server_rows_free(struct server_rows *tables)
{
    if (!tables)
        return;
    for (int i = 0; i < tables->count; i++) {
        struct table *t = &tables->table[i];
        char *const texts[] = {t->name, t->count, t->clear, t->rows, t->copy, t->cursor, t->insert};
        for (size_t j = 0; j < sizeof texts / sizeof *texts; j++)
            free(texts[j]);
    }
    free(tables->table);
    free(tables);
}

/* ---- counting ---- */

static int count_there(struct server *server, const struct table *table, int64_t *ret,
                       struct error *err)
{
    PGresult *result = server_run(server, table->count);
    if (!result)
        return server_fail(server, err, "rows could not be counted");
    *ret = strtoll(server->pq.getvalue(result, 0, 0), NULL, 10);
    server_clear(server, result);
    return 0;
}

static int count_both(const struct table *table, struct store *store, struct server *server,
                      int64_t *rows, struct error *err)
{
    int64_t here = 0, there = 0;
    int rc = db_number(store, table->count, NULL, &here, err);
    if (!rc)
        rc = count_there(server, table, &there, err);
    if (!rc && here != there)
        rc = error_set(err, ERROR_INTERNAL,
                       "table %s has %lld rows in the file and %lld on the server", table->name,
                       (long long)here, (long long)there);
    *rows += here;
    return rc;
}

/* ---- to a server ---- */

/* As COPY reads it. */
static void append_text(struct text_buffer *line, const char *text)
{
    for (const char *at = text; *at; at++) {
        if (*at == '\\' || *at == '\n' || *at == '\t' || *at == '\r')
            text_append(line, "\\");
        text_append_bytes(line, at, 1);
    }
}

static void append_bytes(struct text_buffer *line, const unsigned char *bytes, size_t length)
{
    static const char HEX[] = "0123456789abcdef";
    text_append(line, "\\\\x");
    for (size_t i = 0; i < length; i++) {
        const char two[2] = {HEX[bytes[i] >> 4], HEX[bytes[i] & 15]};
        text_append_bytes(line, two, sizeof two);
    }
}

/* What is no number and no text is bytes, or nothing. */
static void append_cell(struct text_buffer *line, struct db_query *q, int at)
{
    const struct record_cell cell = db_cell(q, at);
    size_t length = 0;
    const void *bytes = cell.form == RECORD_NOTHING ? db_bytes(q, at, &length) : NULL;
    if (cell.form == RECORD_INTEGER)
        text_appendf(line, "%lld", (long long)cell.integer);
    else if (cell.form == RECORD_NUMBER)
        text_appendf(line, "%.17g", cell.number);
    else if (cell.form == RECORD_TEXT)
        append_text(line, cell.text);
    else if (bytes)
        append_bytes(line, bytes, length);
    else
        text_append(line, "\\N");
}

static bool send_rows(struct store *from, struct server *to, struct db_query *q)
{
    struct text_buffer line = {0};
    int sent = 1;
    while (sent == 1 && db_next(q)) {
        int columns = from->engine->columns(q->statement);
        text_reset(&line);
        for (int i = 0; i < columns; i++) {
            text_append(&line, i ? "\t" : "");
            append_cell(&line, q, i);
        }
        text_append(&line, "\n");
        sent = to->pq.putCopyData(to->connection, line.data, (int)line.length);
    }
    text_buffer_free(&line);
    return sent == 1;
}

static int send_table(const struct table *table, struct store *from, struct server *to,
                      struct error *err)
{
    PGresult *result = server_run(to, table->copy);
    if (!result)
        return server_fail(to, err, "rows could not be copied");
    server_clear(to, result);
    struct db_query q = db_query(from, table->rows, NULL, err);
    bool sent = send_rows(from, to, &q);
    int rc = db_end(&q, 0);
    to->pq.putCopyEnd(to->connection, rc || !sent ? "the rows could not be read" : NULL);
    result = server_wait(to, NULL);
    bool took = server_took(to, result);
    server_clear(to, took ? result : NULL);
    return rc ? rc : took ? 0 : server_fail(to, err, "rows could not be copied");
}

int server_rows_send(const struct server_rows *tables, struct store *from, struct server *to,
                     int64_t *ret_rows, struct error *err)
{
    int rc = 0;
    *ret_rows = 0;
    for (int i = 0; i < tables->count && !rc; i++) {
        rc = send_table(&tables->table[i], from, to, err);
        if (!rc)
            rc = count_both(&tables->table[i], from, to, ret_rows, err);
    }
    db_forget(from); /* statements go by the address of their text, and the list will be freed */
    return rc;
}

/* ---- from a server ---- */

/* PostgreSQL's numbers of types that the schema has (dialect.c). */
enum { OF_BYTES = 17, OF_INTEGER = 20, OF_REAL = 701 };

/* Of bytes: *ret_bytes is to be freed by freemem(). */
static struct db_value value_of(const struct libpq *pq, const PGresult *rows, int row, int column,
                                void **ret_bytes)
{
    const char *text = pq->getvalue(rows, row, column);
    const Oid type = pq->ftype(rows, column);
    size_t length;
    if (pq->getisnull(rows, row, column))
        return DB_NULL(DB_IS_TEXT);
    if (type == OF_INTEGER)
        return DB_INT(strtoll(text, NULL, 10));
    if (type == OF_REAL)
        return DB_REAL(strtod(text, NULL));
    if (type != OF_BYTES)
        return DB_PIECE(text, (size_t)pq->getlength(rows, row, column));
    *ret_bytes = pq->unescapeBytea((const unsigned char *)text, &length);
    return DB_BYTES(*ret_bytes, length);
}

static int put_row(const struct table *table, const struct libpq *pq, const PGresult *rows, int row,
                   struct store *to, struct error *err)
{
    enum { MOST = 64 }; /* columns */
    struct db_value values[MOST + 1];
    void *bytes[MOST] = {0};
    int columns = pq->nfields(rows);
    if (columns > MOST)
        return error_set(err, ERROR_INTERNAL, "table %s has too many columns", table->name);
    for (int i = 0; i < columns; i++)
        values[i] = value_of(pq, rows, row, i, &bytes[i]);
    values[columns] = (struct db_value){.form = DB_IS_END};
    int rc = db_run(to, table->insert, values, err);
    for (int i = 0; i < columns; i++)
        pq->freemem(bytes[i]);
    return rc;
}

/* *ret_some: there may be more. */
static int fetch_some(const struct table *table, struct server *from, struct store *to,
                      bool *ret_some, struct error *err)
{
    PGresult *rows = server_run(from, "FETCH 2000 FROM moved");
    if (!rows)
        return server_fail(from, err, "rows could not be read");
    int rc = 0, count = from->pq.ntuples(rows);
    for (int i = 0; i < count && !rc; i++)
        rc = put_row(table, &from->pq, rows, i, to, err);
    server_clear(from, rows);
    *ret_some = count > 0;
    return rc;
}

static int fetch_table(const struct table *table, struct server *from, struct store *to,
                       struct error *err)
{
    bool some = true;
    int rc = db_run(to, table->clear, NULL, err);
    PGresult *result = rc ? NULL : server_run(from, table->cursor);
    if (!rc && !result)
        rc = server_fail(from, err, "rows could not be read");
    server_clear(from, result);
    while (!rc && some)
        rc = fetch_some(table, from, to, &some, err);
    result = rc ? NULL : server_run(from, "CLOSE moved");
    server_clear(from, result);
    return rc;
}

int server_rows_fetch(const struct server_rows *tables, struct server *from, struct store *to,
                      int64_t *ret_rows, struct error *err)
{
    int rc = 0;
    *ret_rows = 0;
    for (int i = 0; i < tables->count && !rc; i++) {
        rc = fetch_table(&tables->table[i], from, to, err);
        if (!rc)
            rc = count_both(&tables->table[i], to, from, ret_rows, err);
    }
    db_forget(to);
    return rc;
}
