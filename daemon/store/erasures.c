#include "store/erasures.h"
#include "base/text.h"
#include "base/uuid.h"
#include "base/write_all.h"
#include "store/attached.h"
#include "store/contact_said.h"
#include "store/db.h"
#include "store/disk.h"
#include "store/place.h"
#include "store/store_inside.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* On a server each daemon has a file of its own, and writes down of it under its own name. */
static const char WRITTEN[] = "erasures/written"; /* seq of the last mark in the file */
static const char APPLIED[] = "erasures/applied"; /* bytes of it that this database has applied */

enum { KEY_SIZE = 64 };

static int key_of(const struct store *store, const char *key, char out[KEY_SIZE], struct error *err)
{
    char id[UUID_TEXT] = "";
    int rc = store->engine->is_server ? place_daemon(store->state_dir, id, err) : 0;
    snprintf(out, KEY_SIZE, "%s%s%s", key, *id ? "/" : "", id);
    return rc;
}

static char *path_of(const struct store *store)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", store->state_dir, ERASURES_FILE);
    return text_take(&path);
}

static int fail(struct error *err, const char *path, const char *what)
{
    error_at(err, path, 0, 0);
    error_hint(err, "nothing is erased before its mark is on disk");
    return error_set(err, errno == ENOSPC || errno == EDQUOT ? ERROR_NO_SPACE : ERROR_IO,
                     "cannot be %s: %s", what, strerror(errno));
}

static int read_setting(struct store *store, const char *key, int64_t *ret, struct error *err)
{
    char *text = NULL, ours[KEY_SIZE];
    *ret = 0;
    int rc = key_of(store, key, ours, err);
    if (!rc)
        rc = store_setting_get(store, ours, &text, err);
    if (!rc && text && text_to_int64(text, ret))
        *ret = 0;
    free(text);
    return rc;
}

static int write_setting(struct store *store, const char *key, int64_t value, struct error *err)
{
    char text[24], ours[KEY_SIZE];
    snprintf(text, sizeof text, "%lld", (long long)value);
    int rc = key_of(store, key, ours, err);
    return rc ? rc : store_setting_set(store, ours, text, err);
}

/* ---- writing ---- */

static int read_marks(struct store *store, int64_t after, struct text_buffer *out,
                      int64_t *ret_last, struct error *err)
{
    static const char SQL[] =
        "SELECT seq, report, at_ms, basis FROM erased WHERE seq > ?1 ORDER BY seq";
    struct db_query q = db_query(store, SQL, DB(DB_INT(after)), err);
    *ret_last = after;
    while (db_next(&q)) {
        *ret_last = db_int64(&q, 0);
        text_appendf(out, "%s %lld %s\n", db_text(&q, 1), (long long)db_int64(&q, 2),
                     db_text(&q, 3));
    }
    return db_end(&q, 0);
}

/* After a line that a crash cut short, a new one begins. The file's bytes before and behind it. */
static int append(const char *path, const char *text, size_t length, off_t ret_bytes[2],
                  struct error *err)
{
    char last = '\n';
    int fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (fd < 0)
        return fail(err, path, "opened");
    off_t size = lseek(fd, 0, SEEK_END);
    bool ok = size >= 0 && (size == 0 || pread(fd, &last, 1, size - 1) == 1);
    ok = ok && (last == '\n' || write_all(fd, "\n", 1) == 0);
    ok = ok && write_all(fd, text, length) == 0 && fsync(fd) == 0;
    ret_bytes[0] = size;
    ret_bytes[1] = lseek(fd, 0, SEEK_END);
    int rc = ok ? 0 : fail(err, path, "written");
    close(fd);
    /* a file that is new is on disk once its name is */
    return rc || size > 0 ? rc : disk_sync_folder_of(path, err);
}

int erasures_write(struct store *store, struct error *err)
{
    struct text_buffer lines = {0};
    int64_t after = 0, last = 0, applied = 0;
    off_t bytes[2] = {0};
    char *path = path_of(store);
    text_append(&lines, "");
    int rc = read_setting(store, WRITTEN, &after, err);
    if (!rc)
        rc = read_marks(store, after, &lines, &last, err);
    if (!rc && lines.length)
        rc = append(path, lines.data, lines.length, bytes, err);
    if (!rc && lines.length)
        rc = write_setting(store, WRITTEN, last, err);
    if (!rc && lines.length)
        rc = read_setting(store, APPLIED, &applied, err);
    /* its own marks it has applied: the next start need not write, for which there may be no room
     */
    if (!rc && lines.length && applied == bytes[0])
        rc = write_setting(store, APPLIED, bytes[1], err);
    text_buffer_free(&lines);
    free(path);
    return rc;
}

/* ---- applying ---- */

#define OF_REPORT                                                                                  \
    "report = ?1 OR (report = '' AND complaint_id = (SELECT id FROM complaint WHERE uuid = ?1))"

/* What others who reported the same said may name the caller. */
static int unsay(struct store *store, const char *uuid, struct error *err)
{
    static const char SQL[] = "SELECT complaint_id FROM contact WHERE " OF_REPORT;
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(uuid)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q)) {
        rc = contact_said_drop(store, db_int64(&q, 0), err);
        if (!rc)
            rc = attached_erase(store, db_int64(&q, 0), err);
    }
    return db_end(&q, rc);
}

/* Only what the texts said: texts that came after the mark stay. */
static int erase_said(struct store *store, const char *uuid, bool is_new, int *count,
                      struct error *err)
{
    static const char SQL[] = "SELECT coalesce((SELECT id FROM contact WHERE " OF_REPORT "), 0)";
    int64_t contact_id = 0;
    int rc = is_new ? db_number(store, SQL, DB(DB_TEXT(uuid)), &contact_id, err) : 0;
    if (rc || !contact_id)
        return rc;
    ++*count;
    return contact_said_drop_beside(store, contact_id, err);
}

static int erase_whole(struct store *store, const char *uuid, int *count, struct error *err)
{
    static const char SQL[] = "DELETE FROM contact WHERE " OF_REPORT;
    int rc = unsay(store, uuid, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_TEXT(uuid)), err);
    if (!rc)
        *count += db_changes(store);
    return rc;
}

static bool is_basis(const char *word)
{
    return strcmp(word, "request") == 0 || strcmp(word, "date") == 0 || strcmp(word, "said") == 0;
}

static int apply_line(struct store *store, char *line, int *count, struct error *err)
{
    static const char SQL_MARK[] = "INSERT INTO erased(report, at_ms, basis) VALUES(?1, ?2, ?3)"
                                   " ON CONFLICT DO NOTHING";
    char uuid[UUID_TEXT], basis[16] = "";
    long long at_ms = 0;
    char *blank = strchr(line, ' ');
    if (!blank || sscanf(blank, " %lld %15s", &at_ms, basis) != 2)
        return 0;
    *blank = '\0';
    if (!uuid_normalize(line, uuid) || !is_basis(basis))
        return 0;
    int rc = db_run(store, SQL_MARK, DB(DB_TEXT(uuid), DB_MS(at_ms), DB_TEXT(basis)), err);
    if (rc)
        return rc;
    return strcmp(basis, "said") == 0 ? erase_said(store, uuid, db_changes(store) > 0, count, err)
                                      : erase_whole(store, uuid, count, err);
}

static int apply_lines(struct store *store, FILE *file, int *count, struct error *err)
{
    char *line = NULL;
    size_t size = 0;
    int rc = 0;
    while (!rc && getline(&line, &size, file) > 0)
        rc = apply_line(store, line, count, err);
    free(line);
    return rc;
}

/* The marks this database has are in the file; what was applied need not be written again. */
static int note_applied(struct store *store, int64_t bytes, struct error *err)
{
    static const char SQL_LAST[] = "SELECT max(seq) FROM erased";
    int64_t last = 0;
    int rc = write_setting(store, APPLIED, bytes, err);
    if (!rc)
        rc = db_number(store, SQL_LAST, NULL, &last, err);
    return rc ? rc : write_setting(store, WRITTEN, last, err);
}

static int apply_file(struct store *store, const char *path, FILE *file, int *count,
                      struct error *err)
{
    struct stat about;
    int64_t applied = 0;
    int rc = read_setting(store, APPLIED, &applied, err);
    if (!rc && fstat(fileno(file), &about))
        rc = fail(err, path, "read");
    if (rc || about.st_size == applied)
        return rc;
    if (applied < about.st_size)
        fseeko(file, applied, SEEK_SET); /* else it is another file: all of it */
    rc = apply_lines(store, file, count, err);
    if (!rc && ferror(file))
        rc = fail(err, path, "read");
    return rc ? rc : note_applied(store, about.st_size, err);
}

int erasures_apply(struct store *store, int *ret_count, struct error *err)
{
    int count = 0;
    char *path = path_of(store);
    int rc = erasures_write(store, err); /* of a version that had no such file */
    FILE *file = rc ? NULL : fopen(path, "re");
    if (!rc && !file && errno != ENOENT)
        rc = fail(err, path, "read");
    if (file) {
        rc = apply_file(store, path, file, &count, err);
        fclose(file);
    }
    if (ret_count)
        *ret_count = count;
    free(path);
    return rc;
}
