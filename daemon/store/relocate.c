#include "store/relocate.h"
#include "base/text.h"
#include "store/db.h"
#include "store/disk.h"
#include "store/engine_sqlite.h"
#include "store/entry_words.h"
#include "store/place.h"
#include "store/schema.h"
#include "store/store_inside.h"
#ifdef ODDLOAF_POSTGRES
#include "store/engine_postgresql.h"
#include "store/server_rows.h"
#include "store/server_schema.h"
#endif
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#ifdef ODDLOAF_POSTGRES

/* What the weeks' views are made of is the daemon's to make again (pattern_cuts.h). */
static const char VIEWS_AGAIN[] = "UPDATE setting SET value = '' WHERE key = 'pattern/views'";

/* A name that is cut off is another file's. */
static int name_in(const char *state_dir, const char *name, char ret[static PATH_MAX],
                   struct error *err)
{
    int length = snprintf(ret, PATH_MAX, "%s/%s", state_dir, name);
    return length < PATH_MAX ? 0
                             : error_set(err, ERROR_INVALID, "the path of %s in %.60s… is too long",
                                         name, state_dir);
}

static int rename_file(const char *from, const char *to, struct error *err)
{
    if (rename(from, to) != 0)
        return error_set(err, ERROR_IO, "cannot rename %s to %s: %s", from, to, strerror(errno));
    return disk_sync_folder_of(to, err);
}

static int refuse_there(const char *state_dir, bool on_server, struct error *err)
{
    return error_set(err, ERROR_CONFLICT, "the state of %s is kept %s already", state_dir,
                     on_server ? "on a server" : "in this folder");
}

/* ---- to a server ---- */

static int make_there(struct store *from, const char *address, int64_t *ret_rows, struct error *err)
{
    struct server *server = server_new(address, SERVER_WRITES);
    int rc = server_there(server)
                 ? server_schema_make(server, schema_version(), from, ret_rows, err)
                 : server_fail(server, err, "the server's database cannot be opened");
    server_free(server);
    return rc;
}

/* A store of the folder's before the folder says that it is there. */
static int open_there(const char *state_dir, const char *address, struct store **ret,
                      struct error *err)
{
    struct store *store = xcalloc(1, sizeof *store);
    store->state_dir = xstrdup(state_dir);
    store->mode = STORE_WRITE;
    store->address = xstrdup(address);
    store->path = place_name(address);
    store->engine = engine_of(address, err);
    int rc = store->engine ? store->engine->open(store, err) : ERROR_INVALID;
    store->opened = !rc;
    *ret = store;
    return rc;
}

/* Each engine finds words in its own way, so they are put there anew. */
static int put_words(struct store *from, struct store *to, struct error *err)
{
    static const char SQL[] =
        "SELECT e.report, " ENTRY_WORDS_TEXTS " FROM " ENTRY_WORDS_REPORTS " WHERE e.worded = 1";
    int rc = store_begin(to, err);
    struct db_query q = db_query(from, SQL, NULL, err);
    while (!rc && db_next(&q)) {
        const char *const text[ENTRY_COLUMNS] = {[ENTRY_REFERENCE] = db_text(&q, 1),
                                                 [ENTRY_STORE] = db_text(&q, 2),
                                                 [ENTRY_LOT_TEXT] = db_text(&q, 3),
                                                 [ENTRY_NOTE] = db_text(&q, 4)};
        rc = entry_words_in(to, db_text(&q, 0), text, err);
    }
    rc = db_end(&q, rc);
    if (!rc)
        rc = db_run(to, VIEWS_AGAIN, NULL, err);
    if (!rc)
        return store_commit(to, err);
    store_rollback(to);
    return rc;
}

static int fill_there(struct store *from, const char *address, int64_t *ret_rows, struct error *err)
{
    struct store *to = NULL;
    int rc = make_there(from, address, ret_rows, err);
    if (!rc)
        rc = open_there(from->state_dir, address, &to, err);
    if (!rc)
        rc = put_words(from, to, err);
    store_close(to);
    return rc;
}

int relocate_to_server(const char *state_dir, const char *address, int64_t now_ms,
                       struct relocated *ret, struct error *err)
{
    char *was = NULL, file[PATH_MAX], moved[64], stamp[DISK_STAMP];
    struct store *from = NULL;
    *ret = (struct relocated){.rows = 0};
    snprintf(moved, sizeof moved, "oddloaf.db.moved-%s", disk_stamp(now_ms, stamp));
    int rc = place_check(address, err);
    if (!rc)
        rc = name_in(state_dir, "oddloaf.db", file, err);
    if (!rc)
        rc = name_in(state_dir, moved, ret->kept, err);
    if (!rc)
        rc = place_get(state_dir, &was, err);
    if (!rc && was)
        rc = refuse_there(state_dir, true, err);
    if (!rc)
        rc = store_open(state_dir, STORE_WRITE, &from, err);
    if (!rc)
        rc = fill_there(from, address, &ret->rows, err);
    store_close(from);
    if (!rc)
        rc = place_move(state_dir, address, err); /* with both, no daemon begins anew */
    if (!rc)
        rc = rename_file(file, ret->kept, err);
    char *name = place_name(address);
    snprintf(ret->to, sizeof ret->to, "%s", name);
    free(name);
    free(was);
    return rc;
}

/* ---- to the folder ---- */

static int fill_file(const char *address, struct store *file, int64_t *ret_rows, struct error *err)
{
    struct server_rows *tables = NULL;
    struct server *server = server_new(address, SERVER_BESIDE);
    int rc = server_rows_new(file, &tables, err);
    if (!rc && !server_there(server))
        rc = server_fail(server, err, "the server's database cannot be opened");
    if (!rc)
        rc = db_exec(file, "PRAGMA foreign_keys=OFF; BEGIN IMMEDIATE", err);
    PGresult *began = rc ? NULL : server_run(server, "BEGIN ISOLATION LEVEL REPEATABLE READ");
    if (!rc && !began)
        rc = server_fail(server, err, "rows could not be read");
    server_clear(server, began);
    if (!rc)
        rc = server_rows_fetch(tables, server, file, ret_rows, err);
    if (!rc)
        rc = db_run(file, VIEWS_AGAIN, NULL, err);
    if (!rc)
        rc = db_exec(file, ENTRY_WORDS_ALL "COMMIT", err);
    server_rows_free(tables);
    server_free(server);
    return rc;
}

static int check_file(struct store *file, struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM pragma_foreign_key_check";
    int64_t strays = 0;
    int rc = db_number(file, SQL, NULL, &strays, err);
    return !rc && strays ? error_set(err, ERROR_INTERNAL,
                                     "%lld rows name others that are not there", (long long)strays)
                         : rc;
}

static int make_file(const char *address, const char *path, int64_t *ret_rows, struct error *err)
{
    struct store *file = NULL;
    char identify[64];
    snprintf(identify, sizeof identify, "PRAGMA application_id=%d", SCHEMA_APPLICATION_ID);
    unlink(path); /* of one that did not end */
    int rc = engine_sqlite_blank(path, schema_version(), &file, err);
    if (!rc)
        rc = db_exec(file, identify, err);
    if (!rc)
        rc = fill_file(address, file, ret_rows, err);
    if (!rc)
        rc = check_file(file, err);
    engine_sqlite_drop(file);
    return rc ? rc : disk_sync(path, err);
}

int relocate_to_folder(const char *state_dir, struct relocated *ret, struct error *err)
{
    struct store *from = NULL; /* held, so that nobody else writes */
    char *address = NULL, partial[PATH_MAX], server[PATH_MAX];
    *ret = (struct relocated){.rows = 0};
    int rc = name_in(state_dir, "oddloaf.db", ret->to, err);
    if (!rc)
        rc = name_in(state_dir, "oddloaf.db.partial", partial, err);
    if (!rc)
        rc = name_in(state_dir, "server", server, err);
    if (!rc)
        rc = place_get(state_dir, &address, err);
    if (!rc && !address)
        rc = refuse_there(state_dir, false, err);
    if (!rc)
        rc = store_open(state_dir, STORE_WRITE, &from, err);
    if (!rc)
        rc = engine_postgresql_alone(from, err);
    if (!rc)
        rc = make_file(address, partial, &ret->rows, err);
    if (!rc)
        rc = rename_file(partial, ret->to, err);
    if (!rc && unlink(server) != 0)
        rc = error_set(err, ERROR_IO, "cannot remove %s: %s", server, strerror(errno));
    if (!rc)
        rc = disk_sync_folder_of(server, err);
    store_close(from);
    char *name = address ? place_name(address) : NULL;
    snprintf(ret->kept, sizeof ret->kept, "%s", name ? name : "");
    free(name);
    free(address);
    return rc;
}

#else

int relocate_to_server(const char *state_dir, const char *address, int64_t now_ms,
                       struct relocated *ret, struct error *err)
{
    (void)state_dir;
    (void)now_ms;
    *ret = (struct relocated){.rows = 0};
    return place_check(address, err);
}

int relocate_to_folder(const char *state_dir, struct relocated *ret, struct error *err)
{
    (void)state_dir;
    return relocate_to_server(state_dir, "postgresql:///", 0, ret, err);
}

#endif
