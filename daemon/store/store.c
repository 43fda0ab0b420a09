#include "store/store.h"
#include "base/text.h"
#include "store/db.h"
#include "store/files.h"
#include "store/owner.h"
#include "store/schema.h"
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { CACHE_SLOTS = 512, MEMOS = 4, BUSY_MS = 5000 };

struct cached {
    const char *sql; /* the address is the key */
    sqlite3_stmt *statement;
};

struct store {
    sqlite3 *db;
    char *path;
    enum store_mode mode;
    struct owner *owner; /* of the state, if this store writes */
    struct files files;  /* as this store left them, if it writes */
    struct cached cache[CACHE_SLOTS];
    struct {
        const void *key;
        void *memo;
    } memos[MEMOS];
    bool checkpoint_soon;
};

static int code_of(int sqlite_code)
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
static int fail(struct store *store, struct error *err, const char *doing)
{
    int code = code_of(sqlite3_errcode(store->db));
    int system_errno = sqlite3_system_errno(store->db);
    if (code == ERROR_IO && (system_errno == ENOSPC || system_errno == EDQUOT))
        code = ERROR_NO_SPACE;
    error_set(err, (enum error_code)code, "%s: %s", doing, sqlite3_errmsg(store->db));
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the state directory, then try again");
    return code;
}

int db_exec(struct store *store, const char *sql, struct error *err)
{
    if (sqlite3_exec(store->db, sql, NULL, NULL, NULL) == SQLITE_OK)
        return 0;
    return fail(store, err, "the database refused a command");
}

sqlite3 *db_handle(struct store *store)
{
    return store->db;
}

static struct cached *slot_of(struct store *store, const char *sql)
{
    size_t at = ((uintptr_t)sql >> 3) * 2654435761u % CACHE_SLOTS;
    for (size_t probe = 0; probe < CACHE_SLOTS; probe++) {
        struct cached *slot = &store->cache[(at + probe) % CACHE_SLOTS];
        if (!slot->sql || slot->sql == sql)
            return slot;
    }
    return NULL;
}

sqlite3_stmt *db_prepare(struct store *store, const char *sql, struct error *err)
{
    struct cached *slot = slot_of(store, sql);
    if (!slot) {
        error_set(err, ERROR_INTERNAL, "more than %d statements", CACHE_SLOTS);
        return NULL;
    }
    if (!slot->sql) {
        sqlite3_stmt *statement;
        if (sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL)) {
            fail(store, err, "the database refused a statement");
            return NULL;
        }
        *slot = (struct cached){sql, statement};
    }
    return slot->statement;
}

int db_step(struct store *store, sqlite3_stmt *st, struct error *err)
{
    int rc = sqlite3_step(st);
    if (rc == SQLITE_ROW)
        return 1;
    if (rc == SQLITE_DONE)
        return 0;
    int code = fail(store, err, "the database could not do it");
    sqlite3_reset(st);
    return code;
}

int db_run(struct store *store, sqlite3_stmt *st, struct error *err)
{
    int rc = db_step(store, st, err);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

void db_reset(sqlite3_stmt *st)
{
    sqlite3_reset(st);
    sqlite3_clear_bindings(st);
}

void db_bind_text(sqlite3_stmt *st, int at, const char *text)
{
    if (text)
        sqlite3_bind_text(st, at, text, -1, SQLITE_TRANSIENT);
    else
        sqlite3_bind_null(st, at);
}

void db_bind_int(sqlite3_stmt *st, int at, int64_t value)
{
    sqlite3_bind_int64(st, at, value);
}

void db_bind_id(sqlite3_stmt *st, int at, int64_t id)
{
    if (id > 0)
        sqlite3_bind_int64(st, at, id);
    else
        sqlite3_bind_null(st, at);
}

void db_bind_real(sqlite3_stmt *st, int at, double value)
{
    if (isnan(value))
        sqlite3_bind_null(st, at);
    else
        sqlite3_bind_double(st, at, value);
}

void db_bind_ms(sqlite3_stmt *st, int at, int64_t ms)
{
    if (ms == WHEN_UNKNOWN_MS)
        sqlite3_bind_null(st, at);
    else
        sqlite3_bind_int64(st, at, ms);
}

void db_bind_day(sqlite3_stmt *st, int at, int32_t day)
{
    if (day == WHEN_UNKNOWN_DAY)
        sqlite3_bind_null(st, at);
    else
        sqlite3_bind_int(st, at, day);
}

const char *db_text(sqlite3_stmt *st, int at)
{
    const char *text = (const char *)sqlite3_column_text(st, at);
    return text ? text : "";
}

double db_real(sqlite3_stmt *st, int at)
{
    return sqlite3_column_type(st, at) == SQLITE_NULL ? NAN : sqlite3_column_double(st, at);
}

int64_t db_ms(sqlite3_stmt *st, int at)
{
    return sqlite3_column_type(st, at) == SQLITE_NULL ? WHEN_UNKNOWN_MS
                                                      : sqlite3_column_int64(st, at);
}

int32_t db_day(sqlite3_stmt *st, int at)
{
    return sqlite3_column_type(st, at) == SQLITE_NULL ? WHEN_UNKNOWN_DAY
                                                      : sqlite3_column_int(st, at);
}

/* ---- opening ---- */

static int pragma_int(struct store *store, const char *sql, int *ret, struct error *err)
{
    sqlite3_stmt *st;
    if (sqlite3_prepare_v2(store->db, sql, -1, &st, NULL))
        return fail(store, err, "the database cannot be read");
    int rc = sqlite3_step(st);
    if (rc == SQLITE_ROW)
        *ret = sqlite3_column_int(st, 0);
    sqlite3_finalize(st);
    return rc == SQLITE_ROW ? 0 : fail(store, err, "the database cannot be read");
}

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
    int id = 0, tables = 0;
    int rc = pragma_int(store, "PRAGMA application_id", &id, err);
    if (!rc)
        rc = pragma_int(store, "PRAGMA user_version", ret_version, err);
    if (!rc)
        rc = pragma_int(store, "SELECT count(*) FROM sqlite_schema", &tables, err);
    if (rc)
        return rc;
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
        rc = db_exec(store, parts[i].sql, err);
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
    int rc = 0;
    for (size_t i = 0; !rc && i < total;) {
        size_t count = 1;
        while (i + count < total && all[i + count].number == all[i].number)
            count++;
        if (all[i].number > version)
            rc = migrate_one(store, &all[i], count, err);
        i += count;
    }
    return rc;
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
    for (size_t i = 0; i < CACHE_SLOTS; i++)
        sqlite3_finalize(store->cache[i].statement);
    for (size_t i = 0; i < MEMOS; i++)
        free(store->memos[i].memo);
    sqlite3_close(store->db);
    owner_free(store->owner);
    free(store->path);
    free(store);
}

void *db_memo(struct store *store, const void *key, size_t size)
{
    size_t i = 0;
    while (i < MEMOS - 1 && store->memos[i].key && store->memos[i].key != key)
        i++;
    if (store->memos[i].key != key) {
        free(store->memos[i].memo);
        store->memos[i].key = key;
        store->memos[i].memo = xcalloc(1, size);
    }
    return store->memos[i].memo;
}

/* ---- transactions ---- */

int store_begin(struct store *store, struct error *err)
{
    static const char SQL_WRITE[] = "BEGIN IMMEDIATE", SQL_READ[] = "BEGIN";
    int rc = store_present(store, err);
    if (rc)
        return rc;
    sqlite3_stmt *st = db_prepare(store, store->mode == STORE_WRITE ? SQL_WRITE : SQL_READ, err);
    return st ? db_run(store, st, err) : ERROR_IO;
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
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    int rc = st ? db_run(store, st, err) : ERROR_IO;
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
    sqlite3_stmt *st = sqlite3_get_autocommit(store->db) ? db_prepare(store, SQL, NULL) : NULL;
    return st && db_run(store, st, NULL) == 0;
}

void store_unlook(struct store *store, bool began)
{
    if (began)
        store_rollback(store);
}

int store_nest(struct store *store, struct error *err)
{
    static const char SQL[] = "SAVEPOINT job";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    return st ? db_run(store, st, err) : ERROR_IO;
}

int store_unnest(struct store *store, bool keep, struct error *err)
{
    static const char SQL_BACK[] = "ROLLBACK TO job", SQL_RELEASE[] = "RELEASE job";
    /* a full disk rolls the whole transaction back by itself; then there is nothing to release */
    if (sqlite3_get_autocommit(store->db))
        return error_set(err, ERROR_IO, "the transaction was undone");
    int rc = 0;
    if (!keep) {
        sqlite3_stmt *st = db_prepare(store, SQL_BACK, err);
        rc = st ? db_run(store, st, err) : ERROR_IO;
    }
    sqlite3_stmt *st = db_prepare(store, SQL_RELEASE, err);
    int released = st ? db_run(store, st, err) : ERROR_IO;
    return rc ? rc : released;
}

/* ---- care ---- */

int store_check(struct store *store, struct error *err)
{
    sqlite3_stmt *st;
    if (sqlite3_prepare_v2(store->db, "PRAGMA quick_check(1)", -1, &st, NULL))
        return fail(store, err, "the database cannot be checked");
    int rc = 0;
    if (sqlite3_step(st) != SQLITE_ROW)
        rc = fail(store, err, "the database cannot be checked");
    else if (strcmp(db_text(st, 0), "ok") != 0)
        rc = error_set(err, ERROR_INTERNAL, "%s is damaged: %s", store->path, db_text(st, 0));
    sqlite3_finalize(st);
    if (rc)
        error_hint(err, "restore the last backup beside it and keep the damaged file");
    return rc;
}

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
        rc = error_set(err, (enum error_code)code_of(step), "the backup %s stopped: %s", path,
                       sqlite3_errstr(step));
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
    sqlite3_stmt *st = db_prepare(store, value ? SQL_SET : SQL_DELETE, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, key);
    if (value)
        db_bind_text(st, 2, value);
    return db_run(store, st, err);
}

int store_setting_get(struct store *store, const char *key, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT value FROM setting WHERE key = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, key);
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret = rc ? xstrdup(db_text(st, 0)) : NULL;
    db_reset(st);
    return rc < 0 ? rc : 0;
}
