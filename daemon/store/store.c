#include "store/store.h"
#include "base/text.h"
#include "store/db.h"
#include "store/owner.h"
#include "store/schema.h"
#include "store/store_inside.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BUSY_MS = 5000 };

/* ---- opening ---- */

static int harden(struct store *store, struct error *err)
{
    static const int off[] = {SQLITE_DBCONFIG_TRUSTED_SCHEMA, SQLITE_DBCONFIG_DQS_DML,
                              SQLITE_DBCONFIG_DQS_DDL};
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++)
        sqlite3_db_config(store->db, off[i], 0, NULL);
    sqlite3_db_config(store->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_busy_timeout(store->db, BUSY_MS);
    return db_exec(store,
                   "PRAGMA cell_size_check=ON; PRAGMA mmap_size=0; PRAGMA foreign_keys=ON;"
                   "PRAGMA secure_delete=ON; PRAGMA cache_size=-32768;",
                   err);
}

static int check_identity(struct store *store, int *ret_version, struct error *err)
{
    static const char SQL_ID[] = "PRAGMA application_id", SQL_VERSION[] = "PRAGMA user_version";
    static const char SQL_TABLES[] = "SELECT count(*) FROM sqlite_schema";
    int64_t id = 0, version = 0, tables = 0;
    int rc = db_number(store, SQL_ID, NULL, &id, err);
    if (!rc)
        rc = db_number(store, SQL_VERSION, NULL, &version, err);
    if (!rc)
        rc = db_number(store, SQL_TABLES, NULL, &tables, err);
    if (rc)
        return rc;
    *ret_version = (int)version;
    if (id != SCHEMA_APPLICATION_ID && (id != 0 || tables != 0))
        return error_set(err, ERROR_INVALID, "%s is not an oddloaf database", store->path);
    if (*ret_version > store_schema_version()) {
        error_set(err, ERROR_INVALID, "%s has schema %d, this program knows up to %d", store->path,
                  *ret_version, store_schema_version());
        error_hint(err, "install the newer oddloafd that wrote it");
        return ERROR_INVALID;
    }
    return 0;
}

static int migrate_one(struct store *store, const struct migration *parts, size_t count,
                       struct error *err)
{
    char set_version[64];
    int rc = db_exec(store, "BEGIN IMMEDIATE", err);
    for (size_t i = 0; !rc && i < count; i++)
        rc = parts[i].sql ? db_exec(store, parts[i].sql, err) : parts[i].move(store, err);
    if (!rc) {
        snprintf(set_version, sizeof set_version, "PRAGMA user_version=%d", parts[0].number);
        rc = db_exec(store, set_version, err);
    }
    if (!rc)
        rc = db_exec(store, "COMMIT", err);
    if (rc)
        store_rollback(store);
    return rc;
}

static int migrate(struct store *store, int version, struct error *err)
{
    size_t total;
    const struct migration *all = schema_migrations(&total);
    /* a table made anew is away for a moment */
    int rc = db_exec(store, "PRAGMA foreign_keys=OFF", err);
    for (size_t i = 0; !rc && i < total;) {
        size_t count = 1;
        while (i + count < total && all[i + count].number == all[i].number)
            count++;
        if (all[i].number > version)
            rc = migrate_one(store, &all[i], count, err);
        i += count;
    }
    return rc ? rc : db_exec(store, "PRAGMA foreign_keys=ON", err);
}

int store_schema_version(void)
{
    size_t total;
    const struct migration *all = schema_migrations(&total);
    return all[total - 1].number;
}

static int open_writer(struct store *store, struct error *err)
{
    char identify[64];
    int version = 0;
    int rc = check_identity(store, &version, err);
    if (rc)
        return rc;
    snprintf(identify, sizeof identify, "PRAGMA application_id=%d", SCHEMA_APPLICATION_ID);
    rc = db_exec(store,
                 "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
                 "PRAGMA journal_size_limit=67108864; PRAGMA wal_autocheckpoint=4000;",
                 err);
    if (!rc)
        rc = db_exec(store, identify, err);
    return rc ? rc : migrate(store, version, err);
}

static int open_reader(struct store *store, struct error *err)
{
    int version = 0;
    int rc = check_identity(store, &version, err);
    /* not the writer's: with temp_store=MEMORY its statement journals stay in memory as lists that
     * every statement with a trigger walks from the start */
    return rc ? rc : db_exec(store, "PRAGMA query_only=ON; PRAGMA temp_store=MEMORY", err);
}

int store_open(const char *state_dir, enum store_mode mode, struct store **ret, struct error *err)
{
    struct text_buffer path = {0};
    /* SQLite's own count of memory is one lock for all threads: off, and refused (harmlessly) once
     * a store of this process is open */
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    text_appendf(&path, "%s/oddloaf.db", state_dir);
    struct store *store = xcalloc(1, sizeof *store);
    store->path = text_take(&path);
    store->mode = mode;
    int flags =
        SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE |
        (mode == STORE_WRITE ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY);
    int rc = 0;
    if (mode == STORE_WRITE)
        rc = owner_take(state_dir, &store->owner, err);
    if (!rc && sqlite3_open_v2(store->path, &store->db, flags, NULL) != SQLITE_OK) {
        rc = error_set(err, ERROR_IO, "cannot open %s: %s", store->path,
                       store->db ? sqlite3_errmsg(store->db) : "no memory");
        error_hint(err, "check that the state directory exists and is writable");
    }
    if (!rc)
        rc = harden(store, err);
    if (!rc)
        rc = mode == STORE_WRITE ? open_writer(store, err) : open_reader(store, err);
    if (rc) {
        store_close(store);
        return rc;
    }
    if (mode == STORE_WRITE)
        files_note(&store->files, store->path);
    *ret = store;
    return 0;
}

void store_close(struct store *store)
{
    if (!store)
        return;
    db_forget(store);
    sqlite3_close(store->db);
    owner_free(store->owner);
    free(store->path);
    free(store);
}

/* ---- transactions ---- */

int store_begin(struct store *store, struct error *err)
{
    static const char SQL_WRITE[] = "BEGIN IMMEDIATE", SQL_READ[] = "BEGIN";
    int rc = store_present(store, err);
    if (rc)
        return rc;
    return db_run(store, store->mode == STORE_WRITE ? SQL_WRITE : SQL_READ, NULL, err);
}

static void checkpoint(struct store *store)
{
    /* a reader in the middle of a query keeps it from happening: don't wait, do it after the next
     * commit */
    sqlite3_busy_timeout(store->db, 0);
    store->checkpoint_soon = sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE,
                                                       NULL, NULL) != SQLITE_OK;
    sqlite3_busy_timeout(store->db, BUSY_MS);
}

int store_commit(struct store *store, struct error *err)
{
    static const char SQL[] = "COMMIT";
    int rc = db_run(store, SQL, NULL, err);
    if (rc) {
        store_rollback(store);
        return rc;
    }
    if (store->mode == STORE_WRITE)
        rc = files_check(&store->files, store->path, false, err);
    if (!rc && store->checkpoint_soon)
        checkpoint(store);
    if (!rc)
        files_note(&store->files, store->path);
    return rc;
}

int store_present(const struct store *store, struct error *err)
{
    return store->mode == STORE_WRITE ? files_check(&store->files, store->path, true, err) : 0;
}

void store_rollback(struct store *store)
{
    if (!sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
}

bool store_look(struct store *store)
{
    static const char SQL[] = "BEGIN";
    return sqlite3_get_autocommit(store->db) && db_run(store, SQL, NULL, NULL) == 0;
}

void store_unlook(struct store *store, bool began)
{
    if (began)
        store_rollback(store);
}

int store_nest(struct store *store, struct error *err)
{
    static const char SQL[] = "SAVEPOINT job";
    return db_run(store, SQL, NULL, err);
}

int store_unnest(struct store *store, bool keep, struct error *err)
{
    static const char SQL_BACK[] = "ROLLBACK TO job", SQL_RELEASE[] = "RELEASE job";
    /* a full disk rolls the whole transaction back by itself; then there is nothing to release */
    if (sqlite3_get_autocommit(store->db))
        return error_set(err, ERROR_IO, "the transaction was undone");
    int rc = keep ? 0 : db_run(store, SQL_BACK, NULL, err);
    int released = db_run(store, SQL_RELEASE, NULL, err);
    return rc ? rc : released;
}

/* ---- care ---- */

void store_checkpoint_soon(struct store *store)
{
    store->checkpoint_soon = true;
}

static int64_t file_bytes(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 ? (int64_t)st.st_size : 0;
}

struct store_size store_size(const struct store *store)
{
    struct text_buffer wal = {0};
    text_appendf(&wal, "%s-wal", store->path);
    struct store_size size = {file_bytes(store->path), file_bytes(wal.data)};
    text_buffer_free(&wal);
    return size;
}

/* A copy of a damaged database is damaged as well: whoever trusts it learns so too late. */
static int check_copy(sqlite3 *copy, const struct store *store, struct error *err)
{
    sqlite3_stmt *st = NULL;
    const char *found = NULL;
    if (sqlite3_prepare_v2(copy, "PRAGMA integrity_check(1)", -1, &st, NULL) == SQLITE_OK &&
        sqlite3_step(st) == SQLITE_ROW)
        found = (const char *)sqlite3_column_text(st, 0);
    int rc = 0;
    if (!found || strcmp(found, "ok") != 0) {
        rc = error_set(err, ERROR_INTERNAL, "no backup was kept, for %s is damaged: %s",
                       store->path, found ? found : sqlite3_errmsg(copy));
        error_hint(err, "keep the damaged file, and the last good backup");
    }
    sqlite3_finalize(st);
    return rc;
}

static int copy_pages(struct store *store, const char *path, struct error *err)
{
    sqlite3 *copy;
    if (sqlite3_open_v2(path, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL)) {
        int rc = error_set(err, ERROR_IO, "cannot write the backup %s: %s", path,
                           copy ? sqlite3_errmsg(copy) : "no memory");
        sqlite3_close(copy);
        return rc;
    }
    int rc = 0;
    sqlite3_backup *backup = sqlite3_backup_init(copy, "main", store->db, "main");
    int step = backup ? sqlite3_backup_step(backup, -1) : SQLITE_ERROR;
    if (backup)
        sqlite3_backup_finish(backup);
    if (step != SQLITE_DONE)
        rc = error_set(err, (enum error_code)db_code(step), "the backup %s stopped: %s", path,
                       sqlite3_errstr(step));
    else
        rc = check_copy(copy, store, err);
    sqlite3_close(copy);
    return rc;
}

static int sync_file(const char *path, struct error *err)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    int rc = fd < 0 || fsync(fd)
                 ? error_set(err, ERROR_IO, "cannot sync %s: %s", path, strerror(errno))
                 : 0;
    if (fd >= 0)
        close(fd);
    return rc;
}

int store_backup(struct store *store, const char *path, struct error *err)
{
    if (access(path, F_OK) == 0)
        return error_set(err, ERROR_CONFLICT, "%s exists already", path);
    struct text_buffer partial = {0};
    text_appendf(&partial, "%s.partial", path);
    unlink(partial.data);
    int rc = copy_pages(store, partial.data, err);
    if (!rc)
        rc = sync_file(partial.data, err);
    if (!rc && rename(partial.data, path))
        rc = error_set(err, ERROR_IO, "cannot name the backup %s: %s", path, strerror(errno));
    if (rc)
        unlink(partial.data);
    text_buffer_free(&partial);
    return rc;
}

/* ---- settings ---- */

int store_setting_set(struct store *store, const char *key, const char *value, struct error *err)
{
    static const char SQL_SET[] = "INSERT INTO setting(key, value) VALUES(?1, ?2)"
                                  " ON CONFLICT DO UPDATE SET value = excluded.value";
    static const char SQL_DELETE[] = "DELETE FROM setting WHERE key = ?1";
    return value ? db_run(store, SQL_SET, DB(DB_TEXT(key), DB_TEXT(value)), err)
                 : db_run(store, SQL_DELETE, DB(DB_TEXT(key)), err);
}

int store_setting_get(struct store *store, const char *key, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT value FROM setting WHERE key = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(key)), err);
    *ret = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}
