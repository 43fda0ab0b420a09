#include "store/server_schema.h"
#include "base/text.h"
#include "store/db.h"
#include "store/dialect.h"
#include "store/engine_sqlite.h"
#include "store/schema.h"
#include "store/server_rows.h"
#include "store/store_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A number that the table `about` has, so that no other program's schema is taken for ours. */
#define ABOUT                                                                                      \
    "CREATE TABLE about(application bigint NOT NULL, schema bigint NOT NULL);"                     \
    "INSERT INTO about VALUES(%d, %d)"

static int run(struct server *server, const char *sql, struct error *err)
{
    PGresult *result = server_run(server, sql);
    server_clear(server, result);
    return result ? 0 : server_fail(server, err, "the schema could not be made");
}

int server_schema_numbered(struct server *server, const char *table)
{
    struct text_buffer sql = {0};
    text_appendf(&sql,
                 "SELECT count(*) FROM pg_attribute WHERE attrelid = to_regclass('oddloaf.%s') AND"
                 " attname = 'id'",
                 table);
    PGresult *result = server_run(server, sql.data);
    int numbered = result ? *server->pq.getvalue(result, 0, 0) == '1' : -1;
    server_clear(server, result);
    text_buffer_free(&sql);
    return numbered;
}

/* ---- what is there ---- */

struct found {
    bool any, about; /* any: something is in the schema */
    bool schema;     /* there is one */
    int version;     /* 0: none */
    bool ours;
};

static bool is_true(const struct server *server, const PGresult *result, int column)
{
    return *server->pq.getvalue(result, 0, column) == 't';
}

static int look(struct server *server, struct found *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT to_regnamespace('oddloaf') IS NOT NULL, to_regclass('oddloaf.about') IS NOT NULL,"
        " EXISTS(SELECT 1 FROM pg_class c WHERE c.relnamespace = to_regnamespace('oddloaf'))";
    *ret = (struct found){.any = false};
    PGresult *result = server_run(server, SQL);
    if (!result)
        return server_fail(server, err, "cannot look at the store");
    ret->schema = is_true(server, result, 0);
    ret->about = is_true(server, result, 1);
    ret->any = is_true(server, result, 2);
    server_clear(server, result);
    if (!ret->about)
        return 0;
    result = server_run(server, "SELECT application, schema FROM oddloaf.about");
    if (!result)
        return server_fail(server, err, "cannot look at the store");
    if (server->pq.ntuples(result) == 1) {
        ret->ours = strtol(server->pq.getvalue(result, 0, 0), NULL, 10) == SCHEMA_APPLICATION_ID;
        ret->version = (int)strtol(server->pq.getvalue(result, 0, 1), NULL, 10);
    }
    server_clear(server, result);
    return 0;
}

static int identify(struct store *store, struct server *server, struct found *ret,
                    struct error *err)
{
    int rc = look(server, ret, err);
    if (rc)
        return rc;
    if (ret->any && !ret->ours) {
        error_hint(err, "name a database of its own, or move that schema away");
        return error_set(err, ERROR_INVALID, "the schema oddloaf of %s is another program's",
                         store->path);
    }
    if (ret->version > schema_version()) {
        error_hint(err, "install the newer oddloafd that wrote it");
        return error_set(err, ERROR_INVALID, "%s has schema %d, this program knows up to %d",
                         store->path, ret->version, schema_version());
    }
    return 0;
}

/* ---- a new one ---- */

/* One row of SQLite's list of what there is. */
struct part {
    char *type, *name, *sql;
};
struct parts {
    struct part *part;
    int count;
};

static int list_parts(struct store *blank, struct parts *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE"
        " 'entry\\_words%' ESCAPE '\\' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY rowid";
    struct db_query q = db_query(blank, SQL, NULL, err);
    while (db_next(&q)) {
        ret->part = xrealloc(ret->part, (size_t)(ret->count + 1) * sizeof *ret->part);
        ret->part[ret->count++] = (struct part){xstrdup(db_text(&q, 0)), xstrdup(db_text(&q, 1)),
                                                xstrdup(db_text(&q, 2))};
    }
    return db_end(&q, 0);
}

static void free_parts(struct parts *parts)
{
    for (int i = 0; i < parts->count; i++) {
        free(parts->part[i].type);
        free(parts->part[i].name);
        free(parts->part[i].sql);
    }
    free(parts->part);
}

static int make_part(struct server *server, const struct part *part, struct error *err)
{
    char *sql = dialect_text(part->sql, false);
    int rc = run(server, sql, err);
    free(sql);
    return rc;
}

static int make_all(struct server *server, const struct parts *parts, const char *type,
                    struct error *err)
{
    int rc = 0;
    for (int i = 0; i < parts->count && !rc; i++)
        if (strcmp(parts->part[i].type, type) == 0)
            rc = make_part(server, &parts->part[i], err);
    return rc;
}

static bool is_there(struct server *server, const char *name)
{
    char sql[160];
    snprintf(sql, sizeof sql, "SELECT to_regclass('oddloaf.%.64s') IS NOT NULL", name);
    PGresult *result = server_run(server, sql);
    bool there = result && is_true(server, result, 0);
    server_clear(server, result);
    return there;
}

/* Those that are not there. SQLite lets a view name what comes later: each is tried until none is
 * left that can be made. */
static int make_views(struct server *server, const struct parts *parts, struct error *err)
{
    bool *made = xcalloc((size_t)parts->count + 1, sizeof *made);
    struct error why = {0};
    int left = 0, before = parts->count + 1, rc = 0;
    do {
        before = left ? left : before;
        left = 0;
        error_clear(&why);
        for (int i = 0; i < parts->count && !rc; i++) {
            if (made[i] || strcmp(parts->part[i].type, "view") != 0 ||
                is_there(server, parts->part[i].name))
                continue;
            rc = run(server, "SAVEPOINT view", err);
            made[i] = !rc && make_part(server, &parts->part[i], &why) == 0;
            left += !made[i];
            if (!rc)
                rc = run(server, made[i] ? "RELEASE view" : "ROLLBACK TO view", err);
        }
    } while (!rc && left && left < before);
    free(made);
    if (!rc && left && err)
        *err = why;
    return rc ? rc : left ? (int)why.code : 0;
}

/* ---- what names what ---- */

static int refer(struct store *blank, struct server *server, struct error *err)
{
    static const char SQL[] =
        "SELECT m.name, f.\"from\", f.\"table\", f.on_delete FROM sqlite_schema m,"
        " pragma_foreign_key_list(m.name) f WHERE m.type = 'table' ORDER BY m.rowid, f.id";
    struct text_buffer sql = {0};
    struct db_query q = db_query(blank, SQL, NULL, err);
    while (db_next(&q)) {
        text_appendf(&sql, "ALTER TABLE \"%s\" ADD FOREIGN KEY (\"%s\")", db_text(&q, 0),
                     db_text(&q, 1));
        text_appendf(&sql, " REFERENCES \"%s\"%s;", db_text(&q, 2),
                     strcmp(db_text(&q, 3), "CASCADE") == 0 ? " ON DELETE CASCADE" : "");
    }
    int rc = db_end(&q, 0);
    if (!rc && sql.length)
        rc = run(server, sql.data, err);
    text_buffer_free(&sql);
    return rc;
}

static int make_rows(struct store *blank, struct server *server, struct store *from,
                     int64_t *ret_rows, struct error *err)
{
    struct server_rows *tables = NULL;
    int rc = server_rows_new(blank, &tables, err);
    if (!rc)
        rc = server_rows_send(tables, from, server, ret_rows, err);
    server_rows_free(tables);
    return rc;
}

static int make_from(struct store *blank, struct server *server, struct store *from,
                     int64_t *ret_rows, struct error *err)
{
    struct parts parts = {0};
    int rc = list_parts(blank, &parts, err);
    if (!rc)
        rc = run(server, DIALECT_FUNCTIONS, err);
    if (!rc)
        rc = make_all(server, &parts, "table", err);
    if (!rc)
        rc = make_rows(blank, server, from, ret_rows, err);
    if (!rc)
        rc = refer(blank, server, err);
    if (!rc)
        rc = make_all(server, &parts, "index", err);
    if (!rc)
        rc = run(server, DIALECT_WORDS, err);
    if (!rc)
        rc = run(server, DIALECT_ADDED, err);
    if (!rc)
        rc = make_views(server, &parts, err);
    free_parts(&parts);
    return rc;
}

int server_schema_make(struct server *server, int version, struct store *from, int64_t *ret_rows,
                       struct error *err)
{
    struct found found;
    struct store *blank = NULL;
    char about[256];
    snprintf(about, sizeof about, ABOUT, SCHEMA_APPLICATION_ID, version);
    int rc = look(server, &found, err);
    if (!rc && found.any) {
        error_hint(err, "name a database of its own, or drop its schema oddloaf");
        rc = error_set(err, ERROR_CONFLICT, "the server's database has a state already");
    }
    if (!rc)
        rc = engine_sqlite_blank(NULL, version, &blank, err);
    if (!rc)
        rc = run(server, "BEGIN", err);
    if (!rc && !found.schema)
        rc = run(server, "CREATE SCHEMA oddloaf", err);
    if (!rc)
        rc = make_from(blank, server, from ? from : blank, ret_rows, err);
    if (!rc)
        rc = run(server, about, err);
    engine_sqlite_drop(blank);
    if (!rc)
        return run(server, "COMMIT", err);
    server_clear(server, server->pq.exec(server->connection, "ROLLBACK"));
    return rc;
}

/* ---- converting ---- */

static int convert_to(struct store *store, const struct migration *parts, size_t count,
                      struct error *err)
{
    static const char SQL[] = "UPDATE about SET schema = ?1", COMMIT[] = "COMMIT";
    int rc = db_run(store, store->engine->begin_write, NULL, err);
    for (size_t i = 0; i < count && !rc; i++)
        rc = parts[i].sql ? db_exec(store, parts[i].sql, err) : parts[i].move(store, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(parts[0].number)), err);
    if (!rc)
        rc = db_run(store, COMMIT, NULL, err);
    if (rc)
        store->engine->undo(store);
    return rc;
}

/* Views that went with others, and what the weeks' are made of by the daemon (pattern_cuts.h). */
static int make_views_again(struct server *server, struct error *err)
{
    struct store *blank = NULL;
    struct parts parts = {0};
    int rc = engine_sqlite_blank(NULL, schema_version(), &blank, err);
    if (!rc)
        rc = list_parts(blank, &parts, err);
    if (!rc)
        rc = run(server, "BEGIN; UPDATE setting SET value = '' WHERE key = 'pattern/views'", err);
    if (!rc)
        rc = make_views(server, &parts, err);
    if (!rc)
        rc = run(server, "COMMIT", err);
    free_parts(&parts);
    engine_sqlite_drop(blank);
    return rc;
}

static int convert(struct store *store, struct server *server, int version, struct error *err)
{
    size_t total;
    const struct migration *all = schema_migrations(&total);
    int rc = 0;
    for (size_t i = 0; i < total && !rc;) {
        size_t count = 1;
        while (i + count < total && all[i + count].number == all[i].number)
            count++;
        if (all[i].number > version)
            rc = convert_to(store, &all[i], count, err);
        i += count;
    }
    if (!rc)
        rc = make_views_again(server, err);
    if (!rc)
        store->migration = (struct store_migration){.from = version, .to = schema_version()};
    return rc;
}

/* Another may have done it while this one waited. */
static int make_or_convert(struct store *store, struct server *server, struct error *err)
{
    struct found found;
    int64_t rows;
    int rc = identify(store, server, &found, err);
    if (rc || found.version == schema_version())
        return rc;
    return found.version ? convert(store, server, found.version, err)
                         : server_schema_make(server, schema_version(), NULL, &rows, err);
}

/* Nobody else may be there meanwhile: a daemon of another schema would go on with its own. */
static int make_alone(struct store *store, struct server *server, struct error *err)
{
    enum { TRIES = 4 };
    struct found found = {.any = false};
    bool alone = false;
    int rc = 0;
    for (int i = 0; i < TRIES && !rc && !alone; i++) {
        rc = identify(store, server, &found, err);
        if (rc || found.version == schema_version())
            return rc;
        alone = server_alone(server);
    }
    if (!rc && !alone)
        return server_fail(server, err, "the schema cannot be made or converted");
    if (!rc)
        rc = make_or_convert(store, server, err);
    if (alone)
        server_among_others(server);
    return rc;
}

int server_schema_open(struct store *store, struct server *server, struct error *err)
{
    struct found found;
    int rc = identify(store, server, &found, err);
    if (!rc && store->mode == STORE_WRITE && found.version != schema_version())
        rc = make_alone(store, server, err);
    if (!rc && store->mode == STORE_WRITE && !is_there(server, DIALECT_SHARED_TABLE))
        rc = run(server, DIALECT_SHARED, err);
    if (!rc && (store->mode == STORE_WRITE || found.version))
        server->schema = store->mode == STORE_WRITE ? schema_version() : found.version;
    return rc;
}
