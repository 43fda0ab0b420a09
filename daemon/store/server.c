#include "store/server.h"
#include "base/text.h"
#include "base/when.h"
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    AGAIN_MS = 1000, /* between tries to connect: what waits is answered meanwhile */
    LOOK_MS = 50,    /* whether somebody still waits for the answer */
    MOST_WORDS = 64, /* of an address */
};

/* "oddloaf", as a number: of being there. The next one: of writing. Claims are far above. */
#define THERE "31354205519110502"
#define WRITING "31354205519110503"

const char SERVER_BEGIN[] = "BEGIN; SELECT pg_advisory_xact_lock(" WRITING ")";

/* ---- addresses ---- */

int server_check(const char *address, struct error *err)
{
    struct libpq pq;
    char *why = NULL;
    bool named =
        strncmp(address, "postgresql://", 13) == 0 || strncmp(address, "postgres://", 11) == 0;
    int rc = libpq_load(&pq, err);
    if (rc)
        return rc;
    PQconninfoOption *words = named ? pq.conninfoParse(address, &why) : NULL;
    rc = words ? 0
               : error_set(err, ERROR_INVALID, "is no address of a PostgreSQL server: %.200s",
                           why ? why : "it begins with postgresql://");
    pq.conninfoFree(words);
    pq.freemem(why);
    return rc;
}

static const char *word(const PQconninfoOption *words, const char *keyword)
{
    for (; words && words->keyword; words++)
        if (strcmp(words->keyword, keyword) == 0)
            return words->val && *words->val ? words->val : NULL;
    return NULL;
}

char *server_name(const char *address)
{
    struct text_buffer name = {0};
    struct libpq pq;
    if (libpq_load(&pq, NULL))
        return xstrdup("a PostgreSQL server");
    PQconninfoOption *words = pq.conninfoParse(address, NULL);
    const char *host = word(words, "host"), *port = word(words, "port");
    const char *database = word(words, "dbname");
    text_appendf(&name, "postgresql://%s%s%s/%s", host ? host : "", port ? ":" : "",
                 port ? port : "", database ? database : "");
    pq.conninfoFree(words);
    return text_take(&name);
}

/* ---- what failed ---- */

void server_note(struct server *server, const char *state, const char *says)
{
    snprintf(server->state, sizeof server->state, "%s", state ? state : "");
    text_clip(says ? says : "", server->says, sizeof server->says);
    for (char *at = server->says; *at; at++)
        *at = *at == '\n' ? ' ' : *at;
    for (size_t n = strlen(server->says); n && server->says[n - 1] == ' ';)
        server->says[--n] = '\0';
}

bool server_lost(const struct server *server)
{
    return !server->connection || server->pq.status(server->connection) != CONNECTION_OK;
}

void server_clear(const struct server *server, PGresult *result)
{
    if (result)
        server->pq.clear(result);
}

bool server_took(struct server *server, PGresult *result)
{
    ExecStatusType status = server->pq.resultStatus(result);
    if (status == PGRES_TUPLES_OK || status == PGRES_COMMAND_OK || status == PGRES_COPY_IN ||
        status == PGRES_EMPTY_QUERY)
        return true;
    const char *says = result ? server->pq.resultErrorField(result, PG_DIAG_MESSAGE_PRIMARY) : NULL;
    server_note(
        server,
        result && !server_lost(server) ? server->pq.resultErrorField(result, PG_DIAG_SQLSTATE) : "",
        says ? says : server->pq.errorMessage(server->connection));
    server_clear(server, result);
    return false;
}

/* By class and code of appendix A of PostgreSQL's manual. The server stops, starts, has no more
 * connections, or became a replica that may only be read: it will do again. */
static const struct {
    const char *state;
    enum error_code code;
} CODES[] = {{"23", ERROR_CONFLICT},
             {"25P02", ERROR_CONFLICT},
             {"53100", ERROR_NO_SPACE},
             {"53200", ERROR_MEMORY},
             {"53", ERROR_BUSY},
             {"54", ERROR_TOO_LARGE},
             {"57P", ERROR_BUSY},
             {SERVER_UNKNOWN, ERROR_UNREACHABLE},
             {"08", ERROR_BUSY},
             {"40", ERROR_BUSY},
             {"55P03", ERROR_BUSY},
             {"25006", ERROR_BUSY},
             {"28", ERROR_BUSY},
             {SERVER_NEWER, ERROR_LOST},
             {SERVER_OTHERS, ERROR_CONFLICT}};

int server_fail(const struct server *server, struct error *err, const char *doing)
{
    enum error_code code = *server->state ? ERROR_IO : ERROR_BUSY;
    for (size_t i = 0; i < sizeof CODES / sizeof CODES[0]; i++) {
        if (*server->state && strncmp(server->state, CODES[i].state, strlen(CODES[i].state)) == 0) {
            code = CODES[i].code;
            break;
        }
    }
    char *name = server_name(server->address);
    error_set(err, code, "%s: %s: %s", doing, name, server->says);
    free(name);
    if (code == ERROR_BUSY)
        error_hint(err,
                   "the PostgreSQL server is away or not ready: try again in a moment; what is "
                   "logged meanwhile waits with its sender");
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the PostgreSQL server, then try again");
    if (code == ERROR_LOST)
        error_hint(err, "install the version that the other daemons of this database have");
    return (int)code;
}

/* ---- connecting ---- */

/* Where the address does not say: a server that vanished is noticed within seconds. */
static const char *const USUAL[][2] = {
    {"connect_timeout", "5"},  {"keepalives_idle", "5"},      {"keepalives_interval", "2"},
    {"keepalives_count", "3"}, {"tcp_user_timeout", "10000"}, {"application_name", "oddloafd"}};

static PGconn *connect_by(const struct libpq *pq, const char *address)
{
    const char *key[MOST_WORDS + 1] = {NULL}, *value[MOST_WORDS + 1] = {NULL};
    PQconninfoOption *words = pq->conninfoParse(address, NULL);
    size_t count = 0;
    for (size_t i = 0; i < sizeof USUAL / sizeof USUAL[0]; i++) {
        if (word(words, USUAL[i][0]))
            continue;
        key[count] = USUAL[i][0];
        value[count++] = USUAL[i][1];
    }
    for (const PQconninfoOption *one = words; one && one->keyword && count < MOST_WORDS - 1;
         one++) {
        if (!one->val)
            continue;
        key[count] = one->keyword;
        value[count++] = one->val;
    }
    key[count] = "client_encoding";
    value[count] = "UTF8";
    PGconn *connection = pq->connectdbParams(key, value, 0);
    pq->conninfoFree(words);
    return connection;
}

static void ignore_notice(void *arg, const PGresult *result)
{
    (void)arg;
    (void)result;
}

PGresult *server_run(struct server *server, const char *sql)
{
    PGresult *result = server->pq.exec(server->connection, sql);
    return server_took(server, result) ? result : NULL;
}

static bool run_quietly(struct server *server, const char *sql)
{
    PGresult *result = server_run(server, sql);
    server_clear(server, result);
    return result != NULL;
}

/* What is answered is on the server's disk, whatever is its habit. A daemon's machine that vanished
 * without a word has no session left within half a minute; a daemon that stands still (stopped, its
 * disk hung) in the middle of writing has none either: the others go on. */
static bool set_up(struct server *server)
{
    static const char SQL[] =
        "SET search_path = oddloaf; SET jit = off; SET statement_timeout = 0;"
        "SET idle_in_transaction_session_timeout = 0; SET extra_float_digits = 1;"
        "SET tcp_keepalives_idle = 10; SET tcp_keepalives_interval = 5;"
        "SET tcp_keepalives_count = 3; SET tcp_user_timeout = 25000;"
        "SET client_connection_check_interval = '5s';"
        "SELECT set_config('synchronous_commit', 'on', false)"
        " WHERE current_setting('synchronous_commit') = 'off'";
    static const char WRITES[] =
        "SET lock_timeout = '10s'; SET idle_in_transaction_session_timeout = '30s'";
    enum { LEAST_VERSION = 150000 };
    if (server->pq.serverVersion(server->connection) < LEAST_VERSION) {
        server_note(server, "0A000", "the server is older than PostgreSQL 15");
        return false;
    }
    return run_quietly(server, SQL) &&
           (server->use != SERVER_WRITES || run_quietly(server, WRITES));
}

/* ---- being there ---- */

static bool is_taken(struct server *server, const char *sql)
{
    PGresult *result = server_run(server, sql);
    bool taken = result && strcmp(server->pq.getvalue(result, 0, 0), "t") == 0;
    server_clear(server, result);
    return taken;
}

static bool try_often(struct server *server, const char *sql, int tries)
{
    enum { BETWEEN_MS = 100 };
    bool taken = is_taken(server, sql);
    for (int i = 0; i < tries && !taken && !server_lost(server); i++) {
        usleep(BETWEEN_MS * 1000);
        taken = is_taken(server, sql);
    }
    return taken;
}

/* The session of an older daemon that has just ended may take a moment to go, and a schema
 * to be made: a start waits for it. */
static bool take_share(struct server *server)
{
    enum { TRIES = 150 };
    bool taken = try_often(server, "SELECT pg_try_advisory_lock_shared(" THERE ")",
                           server->generation == 1 ? TRIES : 0);
    if (!taken && !server_lost(server))
        server_note(server, "55P03",
                    "a daemon has this database for itself: one that converts it, or one of an "
                    "older version, "
                    "which shares with none");
    return taken;
}

/* "3 sessions of dough.example, 192.0.2.7" */
static void note_others(struct server *server)
{
    static const char SQL[] =
        "SELECT count(*), string_agg(DISTINCT coalesce(host(a.client_addr), 'the server''s own"
        " machine'), ', ') FROM pg_locks l JOIN pg_stat_activity a USING (pid) WHERE l.locktype ="
        " 'advisory' AND l.granted AND l.database = (SELECT oid FROM pg_database WHERE datname ="
        " current_database()) AND l.classid::bigint = " THERE " >> 32"
        " AND l.objid::bigint = (" THERE " & 4294967295) AND l.pid <> pg_backend_pid()";
    char says[200];
    PGresult *result = server_run(server, SQL);
    if (!result)
        return;
    snprintf(says, sizeof says, "other daemons are there (%s sessions, from %s): stop them first",
             server->pq.getvalue(result, 0, 0), server->pq.getvalue(result, 0, 1));
    server_clear(server, result);
    server_note(server, SERVER_OTHERS, says);
}

bool server_alone(struct server *server)
{
    enum { TRIES = 9 };
    bool alone = run_quietly(server, "SELECT pg_advisory_unlock_shared(" THERE ")") &&
                 try_often(server, "SELECT pg_try_advisory_lock(" THERE ")", TRIES);
    if (alone || server_lost(server))
        return alone;
    note_others(server);
    run_quietly(server, "SELECT pg_advisory_lock_shared(" THERE ")");
    return false;
}

void server_among_others(struct server *server)
{
    run_quietly(server, "SELECT pg_advisory_lock_shared(" THERE "), pg_advisory_unlock(" THERE ")");
}

/* Converted meanwhile by a newer program: this one must not touch it. */
static bool is_as_opened(struct server *server)
{
    char says[128];
    if (!server->schema)
        return true;
    PGresult *result = server_run(server, "SELECT schema FROM oddloaf.about");
    if (!result)
        return false;
    int schema =
        server->pq.ntuples(result) ? (int)strtol(server->pq.getvalue(result, 0, 0), NULL, 10) : 0;
    server_clear(server, result);
    if (schema == server->schema)
        return true;
    snprintf(says, sizeof says, "it was converted to schema %d, this program has schema %d", schema,
             server->schema);
    server_note(server, SERVER_NEWER, says);
    return false;
}

/* ---- claims ---- */

/* A daemon that stands still keeps none: whoever claims is heard of every second. */
static bool begin_to_claim(struct server *server)
{
    static const char SQL[] = "SELECT set_config('idle_session_timeout', '50s', false),"
                              " set_config('idle_in_transaction_session_timeout', '50s', false)";
    server->claims = server->claims || run_quietly(server, SQL);
    return server->claims;
}

bool server_claim(struct server *server, int64_t key)
{
    char sql[80];
    snprintf(sql, sizeof sql, "SELECT pg_try_advisory_lock(%lld)", (long long)key);
    return server_there(server) && begin_to_claim(server) && is_taken(server, sql);
}

void server_unclaim(struct server *server, int64_t key)
{
    char sql[80];
    snprintf(sql, sizeof sql, "SELECT pg_advisory_unlock(%lld)", (long long)key);
    if (!server_lost(server))
        run_quietly(server, sql);
}

/* ---- */

static void disconnect(struct server *server)
{
    if (server->connection)
        server->pq.finish(server->connection);
    server->connection = NULL;
}

static bool connect_now(struct server *server)
{
    disconnect(server);
    server->generation++;
    server->named = 0;
    server->claims = false;
    server->connection = connect_by(&server->pq, server->address);
    bool there = server->pq.status(server->connection) == CONNECTION_OK;
    if (!there)
        server_note(server, "", server->pq.errorMessage(server->connection));
    server->pq.setNoticeReceiver(server->connection, ignore_notice, NULL);
    there = there && set_up(server);
    there = there && (server->use == SERVER_BESIDE || take_share(server)) && is_as_opened(server);
    there = there && (server->use == SERVER_WRITES ||
                      run_quietly(server, "SET default_transaction_read_only = on"));
    server->tried_ms = there ? 0 : clock_monotonic_ms();
    if (!there)
        disconnect(server);
    return there;
}

static bool load(struct server *server)
{
    struct error why = {0};
    if (server->pq.exec || libpq_load(&server->pq, &why) == 0)
        return true;
    server_note(server, "", why.text);
    return false;
}

bool server_there(struct server *server)
{
    if (!server_lost(server))
        return true;
    if (!load(server))
        return false;
    if (server->began || (server->tried_ms && clock_monotonic_ms() - server->tried_ms < AGAIN_MS))
        return false;
    return connect_now(server);
}

struct server *server_new(const char *address, enum server_use use)
{
    struct server *server = xcalloc(1, sizeof *server);
    server->address = xstrdup(address);
    server->use = use;
    return server;
}

void server_free(struct server *server)
{
    if (!server)
        return;
    disconnect(server);
    free(server->address);
    free(server);
}

/* ---- waiting ---- */

static void cancel(struct server *server)
{
    char why[128];
    PGcancel *handle = server->pq.getCancel(server->connection);
    server->pq.cancel(handle, why, sizeof why);
    server->pq.freeCancel(handle);
}

static bool is_dropped(const atomic_bool *dropped)
{
    return atomic_load_explicit(dropped, memory_order_relaxed);
}

PGresult *server_wait(struct server *server, const atomic_bool *dropped)
{
    bool cancelled = false;
    while (dropped && server->pq.isBusy(server->connection)) {
        struct pollfd wait = {server->pq.socket(server->connection), POLLIN, 0};
        int events = poll(&wait, 1, LOOK_MS);
        if (events == 0 && !cancelled && is_dropped(dropped)) {
            cancel(server);
            cancelled = true;
        }
        if (events != 0 && !server->pq.consumeInput(server->connection))
            break;
    }
    PGresult *result = server->pq.getResult(server->connection);
    for (PGresult *rest; result && (rest = server->pq.getResult(server->connection));) {
        server_clear(server, result);
        result = rest;
    }
    return result;
}
