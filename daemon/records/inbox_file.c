#include "records/inbox_file.h"
#include "base/text.h"
#include "base/uuid.h"
#include "tables/column_map.h"
#include "tables/sheet_apart.h"
#include "tables/table_rows.h"
#include "tables/text_kind.h"
#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { CHUNK = 256 << 10, STEM = 128 };
/* Of refused rows beyond the first thousand: what a report takes. */
static const size_t REST_BYTES = (size_t)16 << 20;

/* ---- which kind ---- */

/* "lots" of "lots.csv", "lots-2026-11-21.csv", "Lots 47.xlsx"; what begins so and goes on is
 * another.
 */
static bool begins(const char *name, const char *word)
{
    size_t length = strlen(word);
    return strncasecmp(name, word, length) == 0 && !isalnum((unsigned char)name[length]);
}

static bool kind_of(const char *name, enum record_kind *ret)
{
    for (int kind = 0; kind < RECORD_KINDS; kind++) {
        if (begins(name, record_kind_table((enum record_kind)kind)->kind)) {
            *ret = (enum record_kind)kind;
            return true;
        }
    }
    return false;
}

/* The map whose name the file's begins with, the longest; false if there is none. */
static bool find_map(const char *name, const char *maps, char path[static PATH_MAX])
{
    DIR *folder = *maps ? opendir(maps) : NULL;
    size_t best = 0;
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        char stem[STEM];
        size_t length = strlen(entry->d_name);
        if (length <= 5 || length - 5 >= sizeof stem || entry->d_name[0] == '.' ||
            strcmp(entry->d_name + length - 5, ".json") != 0)
            continue;
        snprintf(stem, sizeof stem, "%.*s", (int)(length - 5), entry->d_name);
        if (length - 5 <= best || !begins(name, stem))
            continue;
        best = length - 5;
        snprintf(path, PATH_MAX, "%s/%s", maps, entry->d_name);
    }
    if (folder)
        closedir(folder);
    return best > 0;
}

static int load_map(const struct inbox_file *f, const char *path, struct column_map **ret,
                    struct error *err)
{
    enum record_kind kind;
    const struct column_map_source source = {
        .path = path, .kind = kind_of(f->name, &kind) ? &kind : NULL, .catalogue = f->catalogue};
    return column_map_load(&source, ret, err);
}

int inbox_file_order(const char *name, const char *maps)
{
    char path[PATH_MAX];
    enum record_kind kind = RECORD_KINDS;
    struct column_map *map = NULL;
    const struct column_map_source source = {.path = path,
                                             .kind = kind_of(name, &kind) ? &kind : NULL};
    if (find_map(name, maps, path) && column_map_load(&source, &map, NULL) == 0)
        kind = column_map_kind(map, 0);
    column_map_free(map);
    return (int)kind;
}

int inbox_file_check(const char *maps, const struct catalogue *catalogue, doc_report report,
                     void *arg)
{
    int faults = 0;
    DIR *folder = *maps ? opendir(maps) : NULL;
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        char path[PATH_MAX];
        enum record_kind kind;
        struct column_map *map = NULL;
        size_t length = strlen(entry->d_name);
        if (length <= 5 || entry->d_name[0] == '.' ||
            strcmp(entry->d_name + length - 5, ".json") != 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", maps, entry->d_name);
        const struct column_map_source source = {.path = path,
                                                 .kind =
                                                     kind_of(entry->d_name, &kind) ? &kind : NULL,
                                                 .catalogue = catalogue,
                                                 .report = report,
                                                 .arg = arg};
        faults += column_map_load(&source, &map, NULL) != 0;
        column_map_free(map);
    }
    if (folder)
        closedir(folder);
    return faults;
}

/* ---- reading ---- */

/* The file, or the CSV of its sheet. */
struct bytes {
    int fd;
    off_t at;
    struct sheet_apart *sheet;
};

static int open_bytes(const struct inbox_file *f, const struct column_map *map, struct bytes *ret,
                      struct error *err)
{
    char head[8];
    const struct sheet_options options = {.name = map ? column_map_sheet(map) : NULL,
                                          .decimal = map ? column_map_decimal(map) : '.'};
    ssize_t n = pread(f->fd, head, sizeof head, 0);
    *ret = (struct bytes){.fd = f->fd};
    if (n < 0)
        return error_set(err, ERROR_IO, "cannot be read: %s", strerror(errno));
    return sheet_begins(head, (size_t)n) ? sheet_apart_start(f->fd, &options, &ret->sheet, err)
                                         : text_kind_check(head, (size_t)n, err);
}

static int read_bytes(struct bytes *b, char *chunk, size_t *ret_length, struct error *err)
{
    if (b->sheet)
        return sheet_apart_read(b->sheet, chunk, CHUNK, ret_length, err);
    ssize_t n = pread(b->fd, chunk, CHUNK, b->at);
    if (n < 0)
        return error_set(err, ERROR_IO, "cannot be read: %s", strerror(errno));
    b->at += n;
    *ret_length = (size_t)n;
    return 0;
}

static bool is_json(const char *name)
{
    static const char *const ENDS[] = {".ndjson", ".jsonl", ".json"};
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof ENDS / sizeof *ENDS; i++) {
        size_t end = strlen(ENDS[i]);
        if (length > end && text_equal_fold(name + length - end, ENDS[i]))
            return true;
    }
    return false;
}

/* ---- loading ---- */

struct taking {
    const struct inbox_file *file;
    const struct column_map *map; /* or NULL */
    int part;
    struct load *load;
    char *chunk;
    struct text_buffer mapped;
};

static int feed(struct taking *t, struct bytes *b, struct error *err)
{
    const struct inbox_file *f = t->file;
    struct table_rows *rows = t->map ? table_rows_new(t->map, t->part, f->tz) : NULL;
    int rc = 0;
    for (size_t length = 1; !rc && length > 0;) {
        rc = read_bytes(b, t->chunk, &length, err);
        if (rc)
            break;
        if (!rows) {
            rc = length ? load_feed(t->load, f->read_store, t->chunk, length, err) : 0;
            continue;
        }
        text_reset(&t->mapped);
        if (length)
            table_rows_feed(rows, t->chunk, length, &t->mapped);
        else
            table_rows_finish(rows, &t->mapped);
        if (t->mapped.length)
            rc = load_feed(t->load, f->read_store, t->mapped.data, t->mapped.length, err);
    }
    table_rows_free(rows);
    return rc;
}

static int still_same(const struct inbox_file *f, struct error *err)
{
    struct stat now;
    if (fstat(f->fd, &now))
        return error_set(err, ERROR_IO, "cannot be looked at: %s", strerror(errno));
    if (now.st_size == f->was->st_size && now.st_mtim.tv_sec == f->was->st_mtim.tv_sec &&
        now.st_mtim.tv_nsec == f->was->st_mtim.tv_nsec)
        return 0;
    return error_set(err, ERROR_BUSY, "changed while it was read");
}

/* The refusals that did not fit the answer, and all in the file's own words. */
static void complete(const struct taking *t, json_t *answer)
{
    json_t *refused = json_object_get(answer, "refused"), *row;
    const char *rest = json_string_value(json_object_get(answer, "rest"));
    size_t i, length = 1, total = 0;
    char id[UUID_TEXT] = "";
    if (rest && strlen(rest) > strlen("/v1/loads/") + UUID_TEXT - 1)
        snprintf(id, sizeof id, "%s", rest + strlen("/v1/loads/"));
    for (int64_t from = 0; rest && length && total < REST_BYTES; from += (int64_t)length) {
        char *lines = NULL;
        length = 0;
        if (load_refused(t->file->state_dir, id, from, &lines, &length, NULL))
            break;
        total += length;
        for (size_t at = 0; at < length;) {
            char *end = memchr(lines + at, '\n', length - at);
            size_t n = end ? (size_t)(end - lines) - at : length - at;
            if (jsonx_parse(lines + at, n, &row, NULL) == 0)
                json_array_append_new(refused, row);
            at += n + 1;
        }
        free(lines);
    }
    json_object_del(answer, "rest");
    json_object_del(answer, "refused_more");
    json_array_foreach(refused, i, row)
    {
        const char *ours = json_string_value(json_object_get(row, "column"));
        const char *theirs = t->map && ours ? column_map_column(t->map, t->part, ours) : NULL;
        if (theirs)
            json_object_set_new(row, "column", json_string(theirs));
    }
}

static int load_part(struct taking *t, enum record_kind kind, json_t **ret, struct error *err)
{
    const struct inbox_file *f = t->file;
    struct bytes bytes;
    const struct load_options options = {.kind = kind,
                                         .format = t->map || is_json(f->name) ? IMPORT_NDJSON
                                                                              : IMPORT_CSV,
                                         .source = f->name,
                                         .keep_good = f->keep_good,
                                         .catalogue = f->catalogue,
                                         .state_dir = f->state_dir,
                                         .clock = f->clock};
    int rc = open_bytes(f, t->map, &bytes, err);
    if (rc)
        return rc;
    rc = load_open(&options, &t->load, err);
    if (!rc && (rc = feed(t, &bytes, err)) == 0)
        rc = still_same(f, err);
    sheet_apart_free(bytes.sheet);
    if (rc) {
        load_abort(t->load);
        return rc;
    }
    rc = load_finish(t->load, f->read_store, f->writer, ret, err);
    if (!rc)
        complete(t, *ret);
    return rc;
}

static int load_all(struct taking *t, enum record_kind kind, json_t *loads, bool *ret_refused,
                    struct error *err)
{
    int rc = 0, parts = t->map ? column_map_parts(t->map) : 1;
    for (t->part = 0; t->part < parts && !rc; t->part++) {
        json_t *answer = NULL;
        rc = load_part(t, t->map ? column_map_kind(t->map, t->part) : kind, &answer, err);
        if (rc)
            break;
        *ret_refused |= json_integer_value(json_object_get(answer, "refused_total")) > 0;
        json_array_append_new(loads, answer);
    }
    return rc;
}

int inbox_file_take(const struct inbox_file *file, json_t **ret_loads, bool *ret_refused,
                    struct error *err)
{
    char path[PATH_MAX];
    enum record_kind kind = RECORD_LOTS;
    struct column_map *map = NULL;
    bool mapped = find_map(file->name, file->maps, path);
    int rc = mapped ? load_map(file, path, &map, err) : 0;
    if (!mapped && !kind_of(file->name, &kind)) {
        error_hint(err, "name it after its kind (lots-47.csv) or after a map of the maps' folder");
        rc = error_set(err, ERROR_INVALID, "no kind of record and no map is named so");
    }
    if (rc)
        return rc;
    struct taking t = {.file = file, .map = map, .chunk = xmalloc(CHUNK)};
    *ret_loads = json_array();
    *ret_refused = false;
    rc = load_all(&t, kind, *ret_loads, ret_refused, err);
    if (rc) {
        json_decref(*ret_loads);
        *ret_loads = NULL;
    }
    text_buffer_free(&t.mapped);
    free(t.chunk);
    column_map_free(map);
    return rc;
}
