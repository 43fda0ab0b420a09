#include "store/store.h"
#include "base/text.h"
#include "store/backup.h"
#include "store/db.h"
#include "store/disk.h"
#include "store/owner.h"
#include "store/replace.h"
#include "store/schema.h"
#include "store/store_inside.h"
#include <assert.h>
#include <dirent.h>
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
                   "PRAGMA secure_delete=ON;",
                   err);
}

int store_identify(struct store *store, int *ret_version, struct error *err)
{
    static const char SQL_ID[] = "PRAGMA application_id", SQL_VERSION[] = "PRAGMA user_version";
    static const char SQL_TABLES[] = "SELECT count(*) FROM sqlite_schema";
    int64_t id = 0, version = 0, tables = 0;
    int rc = db_number(store, SQL_ID, NULL, &id, err);
    if (!rc)
        rc = db_number(store, SQL_VERSION, NULL, &version, err);
    if (!rc && id == 0)
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
    assert(count > 0);
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
        assert(i == 0 || all[i].number > all[i - 1].number);
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

/* The way back: an older daemon refuses what the newer one wrote. */
static int keep_before(struct store *store, const char *state_dir, int version, struct error *err)
{
    char stamp[DISK_STAMP];
    struct clock clock = clock_system();
    struct text_buffer path = {0};
    struct error why = {0};
    char *folder = backup_folder(state_dir);
    text_appendf(&path, "%s/schema-%d-%s.db", folder, version,
                 disk_stamp(clock_now_ms(&clock), stamp));
    int rc = backup_make(store, path.data, &why);
    if (rc) {
        error_set(err, (enum error_code)rc, "the database is not converted without a copy: %s",
                  why.text);
        error_hint(err, "%s", why.hint);
    }
    store->migration.from = version;
    store->migration.to = store_schema_version();
    snprintf(store->migration.copy, sizeof store->migration.copy, "%s", path.data);
    text_buffer_free(&path);
    free(folder);
    return rc;
}

/* As SQLite's own hook does, but for the count: the log is 32 bytes, then frames of 24 and a page
 * (SQLite, "WAL-mode File Format"). */
static int committed(void *arg, sqlite3 *db, const char *name, int frames)
{
    enum { LOG_HEADER = 32, FRAME_HEADER = 24, FRAMES_MOST = 4000 };
    struct store *store = arg;
    store->log_bytes = LOG_HEADER + frames * (FRAME_HEADER + store->page_bytes);
    if (frames >= FRAMES_MOST)
        sqlite3_wal_checkpoint_v2(db, name, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
    return SQLITE_OK;
}

/* What a commit leaves in the log is known before anybody can cut it. */
static int count_log(struct store *store, struct error *err)
{
    static const char SQL[] = "PRAGMA page_size";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q))
        store->page_bytes = db_int64(&q, 0);
    sqlite3_wal_hook(store->db, committed, store);
    return db_end(&q, 0);
}

static int open_writer(struct store *store, const char *state_dir, struct error *err)
{
    char identify[64];
    int version = 0;
    int rc = store_identify(store, &version, err);
    if (rc)
        return rc;
    snprintf(identify, sizeof identify, "PRAGMA application_id=%d", SCHEMA_APPLICATION_ID);
    rc = db_exec(store,
                 "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
                 "PRAGMA journal_size_limit=67108864;",
                 err);
    if (!rc)
        rc = count_log(store, err);
    if (!rc && version == 0) /* written only once: a full disk is no reason not to start */
        rc = db_exec(store, identify, err);
    if (!rc && version > 0 && version < store_schema_version())
        rc = keep_before(store, state_dir, version, err);
    return rc ? rc : migrate(store, version, err);
}

static int open_reader(struct store *store, struct error *err)
{
    int version = 0;
    int rc = store_identify(store, &version, err);
    /* not the writer's: with temp_store=MEMORY its statement journals stay in memory as lists that
     * every statement with a trigger walks from the start */
    return rc ? rc : db_exec(store, "PRAGMA query_only=ON; PRAGMA temp_store=MEMORY", err);
}

static int64_t file_bytes(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 ? (int64_t)st.st_size : 0;
}

static bool has_backups(const char *state_dir)
{
    struct text_buffer path = {0};
    bool found = false;
    text_appendf(&path, "%s/backups", state_dir);
    DIR *folder = opendir(path.data);
    for (struct dirent *entry; folder && !found && (entry = readdir(folder));)
        found = entry->d_name[0] != '.';
    if (folder)
        closedir(folder);
    text_buffer_free(&path);
    return found;
}

/* An empty database is a first start only where nothing is left of an earlier one: SQLite would
 * throw its log away and begin anew. */
static int refuse_hollow(const struct store *store, const char *state_dir, struct error *err)
{
    struct text_buffer wal = {0};
    if (file_bytes(store->path) > 0)
        return 0;
    text_appendf(&wal, "%s-wal", store->path);
    int64_t left = file_bytes(wal.data);
    int rc = 0;
    if (left > 0)
        rc = error_set(err, ERROR_LOST,
                       "%s is empty or gone, while %s has %lld bytes of it: this is no first "
                       "start, and nothing was touched",
                       store->path, wal.data, (long long)left);
    else if (has_backups(state_dir))
        rc = error_set(err, ERROR_LOST,
                       "%s is empty or gone, while there are backups of it in %s/backups: this is "
                       "no first start",
                       store->path, state_dir);
    if (rc)
        error_hint(err, "put the file back, or bring back a backup with oddloafd --restore FILE; "
                        "to begin anew, move all that is in the state's folder away");
    text_buffer_free(&wal);
    return rc;
}

/* What must be so before SQLite is let at the files. */
static int take_state(struct store *store, const char *state_dir, struct error *err)
{
    int rc = owner_take(state_dir, &store->owner, err);
    if (!rc)
        rc = replace_finish(state_dir, err);
    return rc ? rc : refuse_hollow(store, state_dir, err);
}

/* One connection; `vfs` NULL: the usual one. */
static int connect_by(struct store *store, const char *vfs, const char *state_dir,
                      struct error *err)
{
    int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE |
                (store->mode == STORE_WRITE ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE
                                            : SQLITE_OPEN_READONLY);
    int rc = 0;
    if (sqlite3_open_v2(store->path, &store->db, flags, vfs) != SQLITE_OK) {
        rc = error_set(err, ERROR_IO, "cannot open %s: %s", store->path,
                       store->db ? sqlite3_errmsg(store->db) : "no memory");
        error_hint(err, "check that the state directory exists and is writable");
    }
    if (!rc)
        rc = harden(store, err);
    if (rc)
        return rc;
    return store->mode == STORE_WRITE ? open_writer(store, state_dir, err)
                                      : open_reader(store, err);
}

static void disconnect(struct store *store)
{
    db_forget(store);
    memset(store->cache, 0, sizeof store->cache);
    memset(store->memos, 0, sizeof store->memos);
    sqlite3_close(store->db);
    store->db = NULL;
}

/* The index of the log is a file of its own, and is made anew after a kill: a full disk has no
 * room for it. In memory it serves this process as well, whose other connections share it; other
 * programs are kept out until the daemon is started anew. */
static int connect_store(struct store *store, const char *state_dir, struct error *err)
{
    struct error why = {0};
    int rc = connect_by(store, NULL, state_dir, &why);
    if (rc == ERROR_NO_SPACE && store->mode == STORE_WRITE && !store->migration.to) {
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        disconnect(store);
        error_clear(&why);
        rc = connect_by(store, "unix-excl", state_dir, &why);
        store->alone = true;
    }
    if (rc && err && !err->code)
        *err = why;
    return rc;
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
    int rc = mode == STORE_WRITE ? take_state(store, state_dir, err) : 0;
    if (!rc)
        rc = connect_store(store, state_dir, err);
    if (rc) {
        store_close(store);
        return rc;
    }
    if (mode == STORE_WRITE)
        files_note(&store->files, store->path, store->log_bytes);
    store->opened = true;
    *ret = store;
    return 0;
}

void store_close(struct store *store)
{
    assert(!store || store->open == 0);
    if (!store)
        return;
    disconnect(store);
    owner_free(store->owner);
    free(store->path);
    free(store);
}

/* ---- transactions ---- */

int store_begin(struct store *store, struct error *err)
{
    assert(sqlite3_get_autocommit(store->db)); /* one does not hold another */
    static const char SQL_WRITE[] = "BEGIN IMMEDIATE", SQL_READ[] = "BEGIN";
    int rc = store_present(store, err);
    error_clear(&store->failed);
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
    if (!store->checkpoint_soon)
        store->log_bytes = 0;
    sqlite3_busy_timeout(store->db, BUSY_MS);
}

int store_failed(const struct store *store, struct error *err)
{
    if (store->failed.code && err && !err->code)
        *err = store->failed;
    return (int)store->failed.code;
}

int store_take_failed(struct store *store, struct error *err)
{
    int rc = store_failed(store, err);
    error_clear(&store->failed);
    return rc;
}

int store_commit(struct store *store, struct error *err)
{
    static const char SQL[] = "COMMIT";
    int rc = store_failed(store, err);
    if (!rc)
        rc = db_run(store, SQL, NULL, err);
    if (rc) {
        store_rollback(store);
        return rc;
    }
    if (store->mode == STORE_WRITE)
        rc = files_check(&store->files, store->path, false, err);
    if (!rc && store->checkpoint_soon)
        checkpoint(store);
    if (!rc)
        files_note(&store->files, store->path, store->log_bytes);
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
    if (!sqlite3_get_autocommit(store->db))
        return false;
    error_clear(&store->failed);
    return db_run(store, SQL, NULL, NULL) == 0;
}

void store_unlook(struct store *store, bool began)
{
    static const char SQL[] = "COMMIT"; /* of nothing, by a statement that is kept */
    if (began && db_run(store, SQL, NULL, NULL))
        store_rollback(store);
}

int store_nest(struct store *store, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "SAVEPOINT job";
    int rc = store_failed(store, err); /* so that what failed later failed inside */
    return rc ? rc : db_run(store, SQL, NULL, err);
}

int store_unnest(struct store *store, bool keep, struct error *err)
{
    static const char SQL_BACK[] = "ROLLBACK TO job", SQL_RELEASE[] = "RELEASE job";
    /* a full disk rolls the whole transaction back by itself; then there is nothing to release */
    if (sqlite3_get_autocommit(store->db))
        return error_set(err, ERROR_IO, "the transaction was undone");
    int rc = keep ? store_failed(store, err) : 0;
    error_clear(&store->failed);
    int back = keep && !rc ? 0 : db_run(store, SQL_BACK, NULL, err);
    int released = db_run(store, SQL_RELEASE, NULL, err);
    rc = rc ? rc : back;
    return rc ? rc : released;
}

/* ---- care ---- */

void store_checkpoint_soon(struct store *store)
{
    store->checkpoint_soon = true;
}

const struct store_migration *store_migration(const struct store *store)
{
    return store->migration.to ? &store->migration : NULL;
}

bool store_is_alone(const struct store *store)
{
    return store->alone;
}

bool store_is_dropped(const struct store *store)
{
    return store->dropped && atomic_load_explicit(store->dropped, memory_order_relaxed);
}

static int on_progress(void *store)
{
    return store_is_dropped(store);
}

void store_drop_if(struct store *store, const atomic_bool *dropped)
{
    enum { STEPS = 10000 }; /* of SQLite's machine between two looks: well below a millisecond */
    store->dropped = dropped;
    sqlite3_progress_handler(store->db, dropped ? STEPS : 0, dropped ? on_progress : NULL, store);
}

struct store_size store_size(const struct store *store)
{
    struct text_buffer wal = {0};
    text_appendf(&wal, "%s-wal", store->path);
    struct store_size size = {file_bytes(store->path), file_bytes(wal.data)};
    text_buffer_free(&wal);
    return size;
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
