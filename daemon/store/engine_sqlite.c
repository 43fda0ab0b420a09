#include "store/engine_sqlite.h"
#include "base/text.h"
#include "store/backup.h"
#include "store/disk.h"
#include "store/replace.h"
#include "store/schema.h"
#include "store/sqlite_code.h"
#include "store/store_inside.h"
#include <assert.h>
#include <dirent.h>
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BUSY_MS = 5000 };

/* ---- what failed ---- */

/* SQLite says "disk I/O error" for some full disks; the errno it kept tells them apart. */
static int fail(struct store *store, struct error *err, const char *doing)
{
    int code = sqlite_code(sqlite3_errcode(store->db));
    int system_errno = sqlite3_system_errno(store->db);
    /* the log's index finds no room in its file, whatever errno was left at */
    bool no_index = sqlite3_extended_errcode(store->db) == SQLITE_IOERR_SHMSIZE;
    if (code == ERROR_IO && (no_index || system_errno == ENOSPC || system_errno == EDQUOT))
        code = ERROR_NO_SPACE;
    error_set(err, (enum error_code)code, "%s: %s", doing, sqlite3_errmsg(store->db));
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the state directory, then try again");
    if (code == ERROR_IO)
        error_hint(err, "oddloaf status says what is known of the database; a damaged one is "
                        "replaced by a backup: oddloafd(8), BACKUP AND RESTORE");
    return code;
}

static bool in_transaction(const struct store *store)
{
    return !sqlite3_get_autocommit(store->db);
}

static void undo(struct store *store)
{
    if (in_transaction(store))
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
}

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

int engine_sqlite_identify(struct store *store, int *ret_version, struct error *err)
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
    if (*ret_version > schema_version()) {
        error_set(err, ERROR_INVALID, "%s has schema %d, this program knows up to %d", store->path,
                  *ret_version, schema_version());
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
        undo(store);
    return rc;
}

static int migrate(struct store *store, int version, int until, struct error *err)
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
        if (all[i].number > version && all[i].number <= until)
            rc = migrate_one(store, &all[i], count, err);
        i += count;
    }
    return rc ? rc : db_exec(store, "PRAGMA foreign_keys=ON", err);
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
    store->migration.to = schema_version();
    snprintf(store->migration.copy, sizeof store->migration.copy, "%s", path.data);
    text_buffer_free(&path);
    free(folder);
    return rc;
}

/* As SQLite's own hook does, but for the count: the log is 32 bytes, then frames of 24 and a page
 * (SQLite, "WAL-mode File Format"). */
static int note_log(void *arg, sqlite3 *db, const char *name, int frames)
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
    sqlite3_wal_hook(store->db, note_log, store);
    return db_end(&q, 0);
}

static int open_writer(struct store *store, const char *state_dir, struct error *err)
{
    char identify[64];
    int version = 0;
    int rc = engine_sqlite_identify(store, &version, err);
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
    if (!rc && version > 0 && version < schema_version())
        rc = keep_before(store, state_dir, version, err);
    return rc ? rc : migrate(store, version, schema_version(), err);
}

static int open_reader(struct store *store, struct error *err)
{
    int version = 0;
    int rc = engine_sqlite_identify(store, &version, err);
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
    sqlite3_close(store->db);
    store->db = NULL;
}

/* The index of the log is a file of its own, and is made anew after a kill: a full disk has no
 * room for it. In memory it serves this process as well, whose other connections share it; other
 * programs are kept out until the daemon is started anew. */
static int connect_store(struct store *store, struct error *err)
{
    struct error why = {0};
    int rc = connect_by(store, NULL, store->state_dir, &why);
    if (rc == ERROR_NO_SPACE && store->mode == STORE_WRITE && !store->migration.to) {
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        disconnect(store);
        error_clear(&why);
        rc = connect_by(store, "unix-excl", store->state_dir, &why);
        store->alone = true;
    }
    if (rc && err && !err->code)
        *err = why;
    return rc;
}

/* What must be so before SQLite is let at the files. */
static int open_database(struct store *store, struct error *err)
{
    int rc = 0;
    /* SQLite's own count of memory is one lock for all threads: off, and refused (harmlessly) once
     * a store of this process is open */
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    if (store->mode == STORE_WRITE) {
        backup_drop_partial(store->state_dir);
        rc = replace_finish(store->state_dir, err);
    }
    if (!rc && store->mode == STORE_WRITE)
        rc = refuse_hollow(store, store->state_dir, err);
    if (!rc)
        rc = connect_store(store, err);
    if (!rc && store->mode == STORE_WRITE)
        files_note(&store->files, store->path, store->log_bytes);
    return rc;
}

static int run(struct store *store, const char *sql, struct error *err)
{
    return sqlite3_exec(store->db, sql, NULL, NULL, NULL) == SQLITE_OK
               ? 0
               : fail(store, err, "the database refused a command");
}

/* ---- transactions ---- */

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

static int present(const struct store *store, struct error *err)
{
    return files_check(&store->files, store->path, true, err);
}

static int committed(struct store *store, struct error *err)
{
    int rc = store->mode == STORE_WRITE ? files_check(&store->files, store->path, false, err) : 0;
    if (!rc && store->checkpoint_soon)
        checkpoint(store);
    if (!rc)
        files_note(&store->files, store->path, store->log_bytes);
    return rc;
}

static int allow_writing(struct store *store, bool on, struct error *err)
{
    return run(store, on ? "PRAGMA query_only=OFF" : "PRAGMA query_only=ON", err);
}

static int on_progress(void *arg)
{
    const struct store *store = arg;
    return atomic_load_explicit(store->dropped, memory_order_relaxed);
}

static void heed(struct store *store)
{
    enum { STEPS = 10000 }; /* of SQLite's machine between two looks: well below a millisecond */
    sqlite3_progress_handler(store->db, store->dropped ? STEPS : 0,
                             store->dropped ? on_progress : NULL, store);
}

static struct store_size size(const struct store *store)
{
    struct text_buffer wal = {0};
    text_appendf(&wal, "%s-wal", store->path);
    struct store_size bytes = {.db_bytes = file_bytes(store->path),
                               .wal_bytes = file_bytes(wal.data)};
    text_buffer_free(&wal);
    return bytes;
}

/* ---- statements ---- */

/* Reads the schema, a millisecond: on the thread that asks first, not while a dozen are opened one
 * after the other. */
static int prepare(struct store *store, const char *sql, void **ret)
{
    sqlite3_stmt *statement = NULL;
    if (store->opened && !store->ready) {
        if (sqlite3_exec(store->db, "PRAGMA cache_size=-32768", NULL, NULL, NULL))
            return -1;
        store->ready = true;
    }
    int rc = sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL);
    *ret = statement;
    return rc ? -1 : 0;
}

static void forget(void *statement)
{
    sqlite3_finalize(statement);
}

static bool only_reads(const void *statement)
{
    return sqlite3_stmt_readonly((sqlite3_stmt *)(uintptr_t)statement);
}

static int bind_value(sqlite3_stmt *statement, int at, const struct db_value *value)
{
    switch (value->form) {
    case DB_IS_INT:
        return sqlite3_bind_int64(statement, at, value->as.integer);
    case DB_IS_REAL:
        return sqlite3_bind_double(statement, at, value->as.real);
    case DB_IS_TEXT:
        return sqlite3_bind_text(statement, at, value->as.text, value->length, SQLITE_STATIC);
    case DB_IS_BYTES:
        return sqlite3_bind_blob(statement, at, value->as.text, value->length, SQLITE_STATIC);
    default: /* nothing is bound when a statement begins */
        return SQLITE_OK;
    }
}

static int bind(void *statement, int at, const struct db_value *value)
{
    int rc = bind_value(statement, at, value);
    assert(rc != SQLITE_RANGE); /* more values than the statement has parameters */
    return rc == SQLITE_OK ? 0 : -1;
}

static int step(struct store *store, void *statement)
{
    (void)store;
    int rc = sqlite3_step(statement);
    return rc == SQLITE_ROW ? 1 : rc == SQLITE_DONE ? 0 : -1;
}

static void reset(void *statement)
{
    sqlite3_reset(statement);
    sqlite3_clear_bindings(statement);
}

static int changes(const struct store *store)
{
    return sqlite3_changes(store->db);
}

static int64_t last_id(const struct store *store)
{
    return sqlite3_last_insert_rowid(store->db);
}

/* ---- columns ---- */

static int columns(void *statement)
{
    return sqlite3_column_count(statement);
}

static struct record_cell cell(void *statement, int at)
{
    struct record_cell cell = {.form = RECORD_NOTHING};
    switch (sqlite3_column_type(statement, at)) {
    case SQLITE_INTEGER:
        cell.form = RECORD_INTEGER;
        cell.integer = sqlite3_column_int64(statement, at);
        break;
    case SQLITE_FLOAT:
        cell.form = RECORD_NUMBER;
        cell.number = sqlite3_column_double(statement, at);
        break;
    case SQLITE_TEXT:
        cell.form = RECORD_TEXT;
        cell.text = (const char *)sqlite3_column_text(statement, at);
        cell.length = (uint32_t)sqlite3_column_bytes(statement, at);
        break;
    default:
        break;
    }
    return cell;
}

static bool integer(void *statement, int at, int64_t *ret)
{
    if (sqlite3_column_type(statement, at) != SQLITE_INTEGER)
        return false;
    *ret = sqlite3_column_int64(statement, at);
    return true;
}

static const char *text(void *statement, int at)
{
    return sqlite3_column_type(statement, at) == SQLITE_TEXT
               ? (const char *)sqlite3_column_text(statement, at)
               : NULL;
}

static const void *bytes(void *statement, int at, size_t *ret_length)
{
    const void *blob = sqlite3_column_blob(statement, at);
    *ret_length = (size_t)sqlite3_column_bytes(statement, at);
    return blob;
}

void engine_sqlite_drop(struct store *blank)
{
    if (!blank)
        return;
    disconnect(blank);
    free(blank->path);
    free(blank);
}

int engine_sqlite_blank(const char *path, int version, struct store **ret, struct error *err)
{
    struct store *store = xcalloc(1, sizeof *store);
    store->engine = &ENGINE_SQLITE;
    store->path = xstrdup(path ? path : ":memory:");
    store->mode = STORE_WRITE;
    int rc = sqlite3_open(store->path, &store->db) == SQLITE_OK
                 ? harden(store, err)
                 : error_set(err, ERROR_MEMORY, "no memory for a database");
    if (!rc)
        rc = migrate(store, 0, version, err);
    if (rc)
        engine_sqlite_drop(store);
    else
        *ret = store;
    return rc;
}

const struct engine ENGINE_SQLITE = {
    .tables = "main",
    .begin_write = "BEGIN IMMEDIATE",
    .begin_read = "BEGIN",
    .open = open_database,
    .close = disconnect,
    .exec = run,
    .in_transaction = in_transaction,
    .undo = undo,
    .present = present,
    .committed = committed,
    .allow_writing = allow_writing,
    .heed = heed,
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
