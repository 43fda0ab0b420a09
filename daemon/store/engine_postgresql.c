#include "store/engine_postgresql.h"
#include "base/text.h"
#include "base/when.h"
#include "store/dialect.h"
#include "store/place.h"
#include "store/server.h"
#include "store/server_schema.h"
#include "store/store_inside.h"
#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_VALUES = 24, NUMBER_TEXT = 32 };

/* Types by their fixed numbers (pg_type.dat). */
enum {
    OF_BOOL = 16,
    OF_BYTES = 17,
    OF_INT8 = 20,
    OF_INT2 = 21,
    OF_INT4 = 23,
    OF_TEXT = 25,
    OF_OID = 26,
    OF_FLOAT4 = 700,
    OF_FLOAT8 = 701,
    OF_NUMERIC = 1700
};

struct statement {
    struct server *server;
    char *sql, name[16];
    unsigned generation;             /* of the connection on which it is prepared; 0: none */
    bool reads, begins, ends, turns; /* turns: begins to write */
    bool numbers;                    /* answers the number of the row it added */
    int count;                       /* of values */
    Oid type[MOST_VALUES], prepared_as[MOST_VALUES];
    const char *value[MOST_VALUES];
    int length[MOST_VALUES], form[MOST_VALUES]; /* form: 0 text, 1 bytes as they are */
    char number[MOST_VALUES][NUMBER_TEXT];
    PGresult *result;
    int row; /* it stands on; -1 before the first */
    unsigned char *bytes;
};

/* What the connection's last statement did. */
struct session {
    struct server *server;
    int changes;
    int64_t last_id;
};

static struct server *server_of(const struct store *store)
{
    return store->session->server;
}

/* ---- opening ---- */

static int open_server(struct store *store, struct error *err)
{
    bool writes = store->mode == STORE_WRITE;
    char id[UUID_TEXT];
    int rc = writes ? place_daemon(store->state_dir, id, err) : 0; /* before it is needed */
    if (rc)
        return rc;
    store->session = xcalloc(1, sizeof *store->session);
    store->session->server = server_new(store->address, writes ? SERVER_WRITES : SERVER_READS);
    if (!server_there(server_of(store)))
        return server_fail(server_of(store), err, "cannot open the store");
    return server_schema_open(store, server_of(store), err);
}

static void close_server(struct store *store)
{
    db_forget(store);
    if (store->session)
        server_free(store->session->server);
    free(store->session);
    store->session = NULL;
}

int engine_postgresql_alone(struct store *store, struct error *err)
{
    return server_alone(server_of(store))
               ? 0
               : server_fail(server_of(store), err, "the store is used by others");
}

static int fail(struct store *store, struct error *err, const char *doing)
{
    return server_fail(server_of(store), err, doing);
}

static int exec(struct store *store, const char *sql, struct error *err)
{
    struct server *server = server_of(store);
    char *text = dialect_text(sql, true);
    PGresult *result = server_there(server) ? server_run(server, text) : NULL;
    server_clear(server, result);
    free(text);
    return result ? 0 : fail(store, err, "the database refused a command");
}

/* ---- transactions ---- */

static bool in_transaction(const struct store *store)
{
    return server_of(store)->began;
}

static void undo(struct store *store)
{
    struct server *server = server_of(store);
    if (server->began && !server_lost(server))
        server_clear(server, server->pq.exec(server->connection, "ROLLBACK"));
    server->began = false;
}

static void revive(struct store *store)
{
    server_there(server_of(store));
}

/* What is known of it, without asking: a server that does not answer would be waited for. */
static int present(const struct store *store, struct error *err)
{
    const struct server *server = server_of(store);
    return server_lost(server) ? server_fail(server, err, "the store cannot be written to") : 0;
}

static int committed(struct store *store, struct error *err)
{
    (void)store;
    (void)err;
    return 0;
}

static int allow_writing(struct store *store, bool on, struct error *err)
{
    return exec(store,
                on ? "SET default_transaction_read_only = off"
                   : "SET default_transaction_read_only = on",
                err);
}

static void heed(struct store *store)
{
    (void)store; /* whoever waits for an answer looks */
}

/* Any commit changes it: whatever was not seen before is now. */
static void mark(const struct store *store, char out[STORE_MARK])
{
    struct server *server = server_of(store);
    PGresult *result =
        server_there(server) ? server_run(server, "SELECT md5(pg_current_snapshot()::text)") : NULL;
    snprintf(out, STORE_MARK, "%s", result ? server->pq.getvalue(result, 0, 0) : "");
    server_clear(server, result);
}

static bool claim(struct store *store, int64_t key)
{
    return server_claim(server_of(store), key);
}

static void unclaim(struct store *store, int64_t key)
{
    server_unclaim(server_of(store), key);
}

static unsigned connection_number(const struct store *store)
{
    return server_of(store)->generation;
}

static struct store_size size(const struct store *store)
{
    struct server *server = server_of(store);
    struct store_size size = {.elsewhere = true};
    PGresult *result = server_there(server)
                           ? server_run(server, "SELECT pg_database_size(current_database())")
                           : NULL;
    if (result)
        size.db_bytes = strtoll(server->pq.getvalue(result, 0, 0), NULL, 10);
    server_clear(server, result);
    return size;
}

/* ---- statements ---- */

static bool begins_with(const char *sql, const char *word)
{
    return strncmp(sql, word, strlen(word)) == 0;
}

static int prepare(struct store *store, const char *sql, void **ret)
{
    struct statement *s = xcalloc(1, sizeof *s);
    s->server = server_of(store);
    s->sql = dialect_text(sql, true);
    s->reads = begins_with(sql, "SELECT") || begins_with(sql, "WITH") || begins_with(sql, "VALUES");
    s->begins = begins_with(sql, "BEGIN");
    s->turns = strcmp(sql, SERVER_BEGIN) == 0;
    s->ends = strcmp(sql, "COMMIT") == 0;
    s->row = -1;
    *ret = s;
    return 0;
}

static void forget(void *statement)
{
    struct statement *s = statement;
    server_clear(s->server, s->result);
    s->server->pq.freemem(s->bytes);
    free(s->sql);
    free(s);
}

static bool only_reads(const void *statement)
{
    const struct statement *s = statement;
    return s->reads || s->begins || s->ends;
}

static const Oid TYPES[] = {[DB_IS_INT] = OF_INT8,
                            [DB_IS_REAL] = OF_FLOAT8,
                            [DB_IS_TEXT] = OF_TEXT,
                            [DB_IS_BYTES] = OF_BYTES,
                            [DB_IS_NULL] = 0};

static void write_real(double value, char out[NUMBER_TEXT])
{
    if (isinf(value))
        snprintf(out, NUMBER_TEXT, "%sInfinity", value < 0 ? "-" : "");
    else
        snprintf(out, NUMBER_TEXT, "%.17g", value);
}

static int bind(void *statement, int at, const struct db_value *value)
{
    struct statement *s = statement;
    int i = at - 1;
    assert(i >= 0 && i < MOST_VALUES);
    s->count = at > s->count ? at : s->count;
    s->type[i] = TYPES[value->form == DB_IS_NULL ? value->of : value->form];
    s->form[i] = value->form == DB_IS_TEXT || value->form == DB_IS_BYTES;
    s->value[i] = s->number[i];
    switch (value->form) {
    case DB_IS_INT:
        snprintf(s->number[i], NUMBER_TEXT, "%lld", (long long)value->as.integer);
        break;
    case DB_IS_REAL:
        write_real(value->as.real, s->number[i]);
        break;
    case DB_IS_TEXT:
    case DB_IS_BYTES:
        s->value[i] = value->as.text ? value->as.text : "";
        s->length[i] = value->length < 0 ? (int)strlen(s->value[i]) : value->length;
        break;
    default:
        s->value[i] = NULL;
        break;
    }
    return 0;
}

/* By the types of what is bound first; a whole number that becomes a real one is prepared anew. */
static bool fits(struct statement *s)
{
    bool fit = s->generation == s->server->generation;
    for (int i = 0; i < s->count; i++) {
        if (s->prepared_as[i] == OF_FLOAT8 && s->type[i] == OF_INT8)
            s->type[i] = OF_FLOAT8;
        fit = fit && (s->type[i] == 0 || s->type[i] == s->prepared_as[i] || !s->prepared_as[i]);
    }
    return fit;
}

/* A row that is added to a table whose rows have numbers answers its own. */
static bool ask_number(struct statement *s)
{
    char table[64];
    if (s->generation || strstr(s->sql, " RETURNING ") ||
        sscanf(s->sql, "INSERT INTO %63[a-z_]", table) != 1)
        return true;
    int numbered = server_schema_numbered(s->server, table);
    s->numbers = numbered > 0;
    if (s->numbers) {
        struct text_buffer text = {0};
        text_appendf(&text, "%s RETURNING id", s->sql);
        free(s->sql);
        s->sql = text_take(&text);
    }
    return numbered >= 0;
}

static bool make_ready(struct statement *s)
{
    if (fits(s))
        return true;
    if (!ask_number(s))
        return false;
    snprintf(s->name, sizeof s->name, "s%u", ++s->server->named);
    PGresult *result =
        s->server->pq.prepare(s->server->connection, s->name, s->sql, s->count, s->type);
    if (!server_took(s->server, result))
        return false;
    server_clear(s->server, result);
    s->generation = s->server->generation;
    memcpy(s->prepared_as, s->type, sizeof s->type);
    return true;
}

static PGresult *send(struct store *store, struct statement *s)
{
    PGconn *connection = s->server->connection;
    int sent = s->server->pq.sendQueryPrepared(connection, s->name, s->count, s->value, s->length,
                                               s->form, 0);
    PGresult *result = sent ? server_wait(s->server, store->dropped) : NULL;
    return server_took(s->server, result) ? result : NULL;
}

/* A transaction of several commands is not prepared; one that has begun and not got its turn is
 * none. */
static PGresult *begin(struct store *store, struct statement *s)
{
    int sent = s->server->pq.sendQuery(s->server->connection, s->sql);
    PGresult *result = sent ? server_wait(s->server, store->dropped) : NULL;
    if (server_took(s->server, result))
        return result;
    if (strcmp(s->server->state, "55P03") == 0)
        server_note(s->server, "55P03", "another daemon writes and does not come to an end");
    if (!server_lost(s->server))
        server_clear(s->server, s->server->pq.exec(s->server->connection, "ROLLBACK"));
    return NULL;
}

/* A connection that was lost since it was last used is made anew, once, for what changed nothing.
 */
static PGresult *execute(struct store *store, struct statement *s)
{
    bool again = !s->server->began && (s->reads || s->begins);
    PGresult *result = NULL;
    for (int tries = again ? 2 : 1; tries && !result; tries--) {
        if (!server_there(s->server))
            return NULL;
        if (s->turns)
            result = begin(store, s);
        else if (make_ready(s))
            result = send(store, s);
        if (!result && !server_lost(s->server))
            return NULL;
    }
    return result;
}

/* A transaction that had failed is undone by its end, which PostgreSQL answers as if all were well.
 */
static bool ended(struct statement *s, PGresult *result)
{
    if (strcmp(s->server->pq.cmdStatus(result), "COMMIT") == 0)
        return true;
    server_note(s->server, "25P02", "the transaction was undone");
    return false;
}

/* The number of the transaction under way, "" if it changed nothing. */
static bool ask_transaction(struct server *server, char out[NUMBER_TEXT])
{
    PGresult *result = server_run(server, "SELECT pg_current_xact_id_if_assigned()");
    snprintf(out, NUMBER_TEXT, "%s", result ? server->pq.getvalue(result, 0, 0) : "");
    server_clear(server, result);
    return result != NULL;
}

/* What became of it: "committed", "aborted", "in progress"; "": that cannot be told now. */
static void ask_outcome(struct server *server, const char *transaction, char out[NUMBER_TEXT])
{
    char sql[96];
    snprintf(sql, sizeof sql, "SELECT pg_xact_status('%s'::xid8)", transaction);
    PGresult *result = server_there(server) ? server_run(server, sql) : NULL;
    snprintf(out, NUMBER_TEXT, "%s", result ? server->pq.getvalue(result, 0, 0) : "");
    server_clear(server, result);
}

/* The server was lost while it ended a transaction: it may have kept it. Asked for a while, for
 * what is done again might be done twice. */
static bool was_kept(struct server *server, const char *transaction)
{
    enum { ASK_MS = 8000, BETWEEN_MS = 100 };
    char outcome[NUMBER_TEXT] = "in progress";
    const int64_t until_ms = clock_monotonic_ms() + ASK_MS;
    if (!*transaction)
        return false;
    while (strcmp(outcome, "committed") != 0 && strcmp(outcome, "aborted") != 0) {
        if (clock_monotonic_ms() > until_ms) {
            server_note(server, SERVER_UNKNOWN,
                        "it was lost while it ended a transaction: whether "
                        "that was kept is not known");
            return false;
        }
        usleep(BETWEEN_MS * 1000);
        server->began = false; /* so that it may be connected to */
        ask_outcome(server, transaction, outcome);
        server->began = true;
    }
    server_note(server, "", "it was lost before it ended the transaction");
    return *outcome == 'c';
}

static bool end_transaction(struct store *store, struct statement *s)
{
    char transaction[NUMBER_TEXT] = ""; /* one that only reads has none to be asked for */
    if (s->server->writing && !ask_transaction(s->server, transaction))
        return false;
    s->result = execute(store, s);
    if (s->result || !server_lost(s->server) || !was_kept(s->server, transaction))
        return s->result && ended(s, s->result);
    s->result = s->server->pq.makeEmptyPGresult(NULL, PGRES_COMMAND_OK);
    return true;
}

static bool start(struct store *store, struct statement *s)
{
    if (s->ends) {
        bool well = end_transaction(store, s);
        s->server->began = s->server->began && !s->result;
        return well;
    }
    s->result = execute(store, s);
    if (!s->result)
        return false;
    s->row = -1;
    if (s->begins) {
        s->server->began = true;
        s->server->writing = s->turns;
    }
    if (!s->reads)
        store->session->changes = (int)strtol(s->server->pq.cmdTuples(s->result), NULL, 10);
    int rows = s->numbers ? s->server->pq.ntuples(s->result) : 0;
    if (rows)
        store->session->last_id = strtoll(s->server->pq.getvalue(s->result, rows - 1, 0), NULL, 10);
    return true;
}

static int step(struct store *store, void *statement)
{
    struct statement *s = statement;
    if (!s->result && !start(store, s))
        return -1;
    s->row++;
    return !s->numbers && s->row < s->server->pq.ntuples(s->result);
}

static void reset(void *statement)
{
    struct statement *s = statement;
    server_clear(s->server, s->result);
    s->server->pq.freemem(s->bytes);
    s->result = NULL;
    s->bytes = NULL;
    s->row = -1;
    s->count = 0;
}

static int changes(const struct store *store)
{
    return store->session->changes;
}

static int64_t last_id(const struct store *store)
{
    return store->session->last_id;
}

/* ---- columns ---- */

/* Before the first row nothing is known of it. */
static int columns(void *statement)
{
    struct statement *s = statement;
    return s->result ? s->server->pq.nfields(s->result) : 0;
}

static bool is_whole(Oid type, const char *value)
{
    return type == OF_INT8 || type == OF_INT4 || type == OF_INT2 || type == OF_OID ||
           (type == OF_NUMERIC && !strpbrk(value, ".eN"));
}

static bool is_real(Oid type)
{
    return type == OF_FLOAT8 || type == OF_FLOAT4 || type == OF_NUMERIC;
}

static struct record_cell cell(void *statement, int at)
{
    const struct statement *s = statement;
    struct record_cell cell = {.form = RECORD_NOTHING};
    const char *value = s->server->pq.getvalue(s->result, s->row, at);
    Oid type = s->server->pq.ftype(s->result, at);
    if (s->server->pq.getisnull(s->result, s->row, at) || type == OF_BYTES)
        return cell;
    if (type == OF_BOOL || is_whole(type, value)) {
        cell.form = RECORD_INTEGER;
        cell.integer = type == OF_BOOL ? *value == 't' : strtoll(value, NULL, 10);
    } else if (is_real(type)) {
        cell.form = RECORD_NUMBER;
        cell.number = strtod(value, NULL);
    } else {
        cell.form = RECORD_TEXT;
        cell.text = value;
        cell.length = (uint32_t)s->server->pq.getlength(s->result, s->row, at);
    }
    return cell;
}

static bool integer(void *statement, int at, int64_t *ret)
{
    struct record_cell one = cell(statement, at);
    *ret = one.integer;
    return one.form == RECORD_INTEGER;
}

static const char *text(void *statement, int at)
{
    struct record_cell one = cell(statement, at);
    return one.form == RECORD_TEXT ? one.text : NULL;
}

static const void *bytes(void *statement, int at, size_t *ret_length)
{
    struct statement *s = statement;
    s->server->pq.freemem(s->bytes);
    s->bytes = s->server->pq.unescapeBytea(
        (const unsigned char *)s->server->pq.getvalue(s->result, s->row, at), ret_length);
    return s->bytes;
}

static const struct engine ENGINE = {
    .tables = "oddloaf",
    .is_server = true,
    .begin_write = SERVER_BEGIN,
    .begin_read = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
    .open = open_server,
    .close = close_server,
    .exec = exec,
    .in_transaction = in_transaction,
    .undo = undo,
    .present = present,
    .committed = committed,
    .allow_writing = allow_writing,
    .heed = heed,
    .revive = revive,
    .mark = mark,
    .claim = claim,
    .unclaim = unclaim,
    .connection_number = connection_number,
    .size = size,
    .prepare = prepare,
    .forget = forget,
    .only_reads = only_reads,
    .bind = bind,
    .step = step,
    .reset = reset,
    .changes = changes,
    .last_id = last_id,
    .columns = columns,
    .cell = cell,
    .integer = integer,
    .text = text,
    .bytes = bytes,
    .fail = fail,
};

const struct engine *engine_postgresql(void)
{
    return &ENGINE;
}
