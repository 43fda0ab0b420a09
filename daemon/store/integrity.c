#include "store/integrity.h"
#include "base/text.h"
#include "store/db.h"
#include "store/place.h"
#include "store/store_inside.h"
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

enum { LOOK_EVERY = 20000 /* steps of SQLite's machine: a few milliseconds */ };

static int is_stopped(void *stop)
{
    return atomic_load((const atomic_bool *)stop);
}

static int say_damaged(const struct store *store, const char *what, struct error *err)
{
    error_hint(err, "keep the files as they are, and bring back the last good backup: "
                    "oddloafd(8), BACKUP AND RESTORE");
    return error_set(err, ERROR_IO, "%s is damaged: %s", store->path, what);
}

/* What one command of checking says; its first row is "ok" where all is. */
static int check_by(struct store *store, const char *sql, struct error *err)
{
    sqlite3_stmt *st = NULL;
    int rc = 0;
    int step = sqlite3_prepare_v2(store->db, sql, -1, &st, NULL);
    if (step == SQLITE_OK)
        step = sqlite3_step(st);
    const char *found = step == SQLITE_ROW ? (const char *)sqlite3_column_text(st, 0) : NULL;
    if ((step & 0xff) == SQLITE_INTERRUPT)
        rc = error_set(err, ERROR_BUSY, "the check was stopped before its end");
    else if (!found)
        rc = say_damaged(store, sqlite3_errmsg(store->db), err);
    else if (strcmp(found, "ok") != 0)
        rc = say_damaged(store, found, err);
    sqlite3_finalize(st);
    return rc;
}

struct tables {
    char **name;
    size_t count;
};

static int list_tables(struct store *store, struct tables *tables, struct error *err)
{
    static const char SQL[] = "SELECT name FROM sqlite_schema WHERE type = 'table'";
    struct db_query q = db_query(store, SQL, NULL, err);
    while (db_next(&q)) {
        tables->name = xrealloc(tables->name, (tables->count + 1) * sizeof *tables->name);
        tables->name[tables->count++] = xstrdup(db_text(&q, 0));
    }
    return db_end(&q, 0);
}

int integrity_check(struct store *store, const atomic_bool *stop, struct error *err)
{
    struct tables tables = {0};
    struct error why = {0};
    if (store->engine->is_server)
        return place_refuse(store->state_dir, "a check", err);
    if (stop)
        sqlite3_progress_handler(store->db, LOOK_EVERY, is_stopped, (void *)(uintptr_t)stop);
    int rc = list_tables(store, &tables, &why);
    if (rc)
        rc = say_damaged(store, why.text, err);
    for (size_t i = 0; i < tables.count; i++) {
        char *sql = sqlite3_mprintf("PRAGMA integrity_check(\"%w\")", tables.name[i]);
        if (!rc)
            rc = check_by(store, sql, err);
        sqlite3_free(sql);
        free(tables.name[i]);
    }
    free(tables.name);
    sqlite3_progress_handler(store->db, 0, NULL, NULL);
    return rc;
}
