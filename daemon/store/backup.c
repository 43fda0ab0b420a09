#include "store/backup.h"
#include "base/text.h"
#include "base/when.h"
#include "store/disk.h"
#include "store/file_hash.h"
#include "store/place.h"
#include "store/sqlite_code.h"
#include "store/store_inside.h"
#include <dirent.h>
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char PREFIX[] = "oddloaf-", SUFFIX[] = ".db", PARTIAL[] = ".partial";

/* ---- where ---- */

char *backup_folder(const char *state_dir)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/backups", state_dir);
    mkdir(path.data, 0700); /* if that fails, writing there says why */
    return text_take(&path);
}

int backup_place(const char *state_dir, const char *named, char **ret_path, struct error *err)
{
    struct text_buffer path = {0};
    for (const char *c = named; *c; c++) {
        if ((unsigned char)*c < ' ' || *c == 127) {
            error_field(err, "path", named);
            return error_set(err, ERROR_INVALID, "has a control character");
        }
    }
    bool bare = *named && !strchr(named, '/') && named[0] != '.';
    if (!bare && named[0] != '/') {
        error_field(err, "path", named);
        return error_set(err, ERROR_INVALID,
                         "must be a bare name, for %s/backups, or an absolute path on the daemon's "
                         "machine",
                         state_dir);
    }
    if (bare) {
        char *folder = backup_folder(state_dir);
        text_appendf(&path, "%s/", folder);
        free(folder);
    }
    text_append(&path, named);
    *ret_path = text_take(&path);
    return 0;
}

/* ---- one ---- */

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

/* Whether a row of attached_file holds what was attached. */
static int check_file(sqlite3_stmt *row, const struct store *store, struct error *err)
{
    char hash[FILE_HASH];
    const char *kept = (const char *)sqlite3_column_text(row, 0);
    const void *bytes = sqlite3_column_blob(row, 1);
    file_hash(bytes, (size_t)sqlite3_column_bytes(row, 1), hash);
    if (kept && strcmp(kept, hash) == 0)
        return 0;
    error_hint(err, "keep the damaged file, and the last good backup");
    return error_set(err, ERROR_INTERNAL,
                     "no backup was kept, for %s is damaged: the attached file %.12s is not what "
                     "was attached",
                     store->path, kept ? kept : "?");
}

static bool has_files(sqlite3 *copy)
{
    static const char SQL[] = "SELECT 1 FROM sqlite_schema WHERE name = 'attached_file'";
    sqlite3_stmt *st = NULL;
    bool no = sqlite3_prepare_v2(copy, SQL, -1, &st, NULL) == SQLITE_OK &&
              sqlite3_step(st) == SQLITE_DONE;
    sqlite3_finalize(st);
    return !no; /* if that cannot be told, reading them says why */
}

/* The database's own check does not look into the bytes of attached files. A database from before
 * there were any has none; files that cannot be read are none that were checked. */
static int check_files(sqlite3 *copy, const struct store *store, struct error *err)
{
    sqlite3_stmt *st = NULL;
    int rc = 0, step = SQLITE_DONE;
    if (has_files(copy))
        step = sqlite3_prepare_v2(copy, "SELECT sha256, data FROM attached_file", -1, &st, NULL);
    while (st && !rc && (step = sqlite3_step(st)) == SQLITE_ROW)
        rc = check_file(st, store, err);
    if (!rc && step != SQLITE_DONE)
        rc = error_set(err, (enum error_code)sqlite_code(step),
                       "no backup was kept: the attached files of %s could not be read: %s",
                       store->path, sqlite3_errmsg(copy));
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
        rc = error_set(err, (enum error_code)sqlite_code(step), "the backup %s stopped: %s", path,
                       sqlite3_errstr(step));
    else
        rc = check_copy(copy, store, err);
    if (!rc)
        rc = check_files(copy, store, err);
    sqlite3_close(copy);
    return rc;
}

/* A place that may not be written is the asker's to choose anew. */
static int try_place(const struct store *store, const char *path, const char *partial,
                     struct error *err)
{
    FILE *file = fopen(partial, "wxe");
    if (file) {
        fclose(file);
        return 0;
    }
    int why = errno;
    if (why == ENOSPC || why == EDQUOT)
        return error_set(err, ERROR_NO_SPACE, "cannot write the backup %s: %s", path,
                         strerror(why));
    error_field(err, "path", path);
    error_hint(err,
               "a bare name is written to the folder backups beside %s; anywhere else the "
               "daemon's user, and its unit, must be allowed to write",
               store->path);
    return error_set(err, ERROR_INVALID, "the daemon cannot write there: %s", strerror(why));
}

/* Both as realpath() says them. */
static bool is_below(const char *path, const char *folder)
{
    size_t length = strcmp(folder, "/") == 0 ? 0 : strlen(folder);
    return strncmp(path, folder, length) == 0 && (!path[length] || path[length] == '/');
}

/* A file of another name there the next start would take for its own: the copies' place in the
 * state's folder is `backups`. What cannot be told is no such place. */
static int refuse_state(const struct store *store, const char *path, struct error *err)
{
    const char *slash = strrchr(path, '/');
    char *folder = xstrndup(path, slash ? (size_t)(slash - path) + 1 : 0);
    char *into = realpath(*folder ? folder : ".", NULL);
    char *state = realpath(store->state_dir, NULL);
    struct text_buffer backups = {0};
    text_appendf(&backups, "%s/backups", store->state_dir);
    char *copies = realpath(backups.data, NULL);
    int rc = 0;
    if (into && state && is_below(into, state) && !(copies && is_below(into, copies))) {
        error_field(err, "path", path);
        error_hint(err, "a bare name is written to %s", backups.data);
        rc = error_set(err, ERROR_INVALID,
                       "lies in the daemon's state, where only the folder backups takes copies");
    }
    text_buffer_free(&backups);
    free(copies);
    free(state);
    free(into);
    free(folder);
    return rc;
}

int backup_make(struct store *store, const char *path, struct error *err)
{
    if (store->engine->is_server)
        return place_refuse(store->state_dir, "a backup", err);
    struct stat there;
    if (lstat(path, &there) == 0) { /* a link to nothing is somebody's, too */
        error_field(err, "path", path);
        return error_set(err, ERROR_CONFLICT, "%s exists already", path);
    }
    if (refuse_state(store, path, err))
        return ERROR_INVALID;
    struct text_buffer partial = {0};
    text_appendf(&partial, "%s%s", path, PARTIAL);
    unlink(partial.data);
    int rc = try_place(store, path, partial.data, err);
    if (!rc)
        rc = copy_pages(store, partial.data, err);
    if (!rc)
        rc = disk_sync(partial.data, err);
    if (!rc && rename(partial.data, path))
        rc = error_set(err, ERROR_IO, "cannot name the backup %s: %s", path, strerror(errno));
    if (!rc)
        rc = disk_sync_folder_of(path, err);
    if (rc)
        unlink(partial.data);
    text_buffer_free(&partial);
    return rc;
}

/* ---- what a stop in the middle left ---- */

static int is_partial(const struct dirent *entry)
{
    static const char *const ENDS[] = {"", "-journal", "-wal", "-shm"};
    const char *last = NULL;
    for (const char *at = entry->d_name; (at = strstr(at, PARTIAL)); at++)
        last = at;
    for (size_t i = 0; last && i < sizeof ENDS / sizeof *ENDS; i++)
        if (strcmp(last + sizeof PARTIAL - 1, ENDS[i]) == 0)
            return 1;
    return 0;
}

void backup_drop_partial(const char *state_dir)
{
    struct dirent **entries;
    struct text_buffer path = {0};
    text_appendf(&path, "%s/backups", state_dir);
    int count = scandir(path.data, &entries, is_partial, NULL);
    for (int i = 0; i < count; i++) {
        text_reset(&path);
        text_appendf(&path, "%s/backups/%s", state_dir, entries[i]->d_name);
        unlink(path.data);
        free(entries[i]);
    }
    if (count >= 0)
        free(entries);
    text_buffer_free(&path);
}

/* ---- by the clock ---- */

static int is_dated(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return length == sizeof PREFIX - 1 + DISK_STAMP - 1 + sizeof SUFFIX - 1 &&
           strncmp(entry->d_name, PREFIX, sizeof PREFIX - 1) == 0 &&
           strcmp(entry->d_name + length - (sizeof SUFFIX - 1), SUFFIX) == 0;
}

/* Their names sort by time. By a clock that was put back since, others may be of a time to come:
 * the one just made is not dropped for those. */
static void drop_older(const char *folder, int keep, const char *made)
{
    struct dirent **entries;
    struct text_buffer path = {0};
    int count = scandir(folder, &entries, is_dated, alphasort);
    for (int i = 0; i < count; i++) {
        text_reset(&path);
        text_appendf(&path, "%s/%s", folder, entries[i]->d_name);
        if (i < count - keep && strcmp(path.data, made) != 0)
            unlink(path.data);
        free(entries[i]);
    }
    if (count >= 0)
        free(entries);
    text_buffer_free(&path);
}

int backup_make_dated(struct store *store, const char *state_dir, int keep, int64_t now_ms,
                      char **ret_path, struct error *err)
{
    char stamp[DISK_STAMP];
    struct text_buffer path = {0};
    char *folder = backup_folder(state_dir);
    text_appendf(&path, "%s/%s%s%s", folder, PREFIX, disk_stamp(now_ms, stamp), SUFFIX);
    int rc = backup_make(store, path.data, err);
    if (!rc) {
        drop_older(folder, keep, path.data);
        *ret_path = text_take(&path);
    }
    text_buffer_free(&path);
    free(folder);
    return rc;
}
