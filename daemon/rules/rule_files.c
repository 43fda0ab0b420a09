#include "rules/rule_files.h"
#include "base/doc.h"
#include "base/jsonx.h"
#include "base/write_all.h"
#include "rules/rule_files_plant.h"
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

static const char KEPT[] = ".shipped";
enum { DEEPEST = 3 };

/* The first folder of `dirs` and the last. */
static char *first_folder(const char *dirs)
{
    return xstrndup(dirs, strcspn(dirs, ":"));
}

static const char *shipped_folder(const char *dirs)
{
    const char *last = strrchr(dirs, ':');
    return last ? last + 1 : dirs;
}

/* ---- which there are ---- */

/* Whether a file of that name is read: these in the folder itself, all in some below it, and of a
 * plant those that it may have. */
static bool is_read(const char *name)
{
    static const char *const FILES[] = {"asks.json",     "cautions.json",   "harm.json",
                                        "limits.json",   "lots.json",       "models.json",
                                        "places.json",   "ranking.json",    "quantities.json",
                                        "severity.json", "preservers.json", "targets.json"};
    static const char *const FOLDERS[] = {"causes", "lexicon", "lexicon/common", "lexicon/harm",
                                          "lexicon/weights"};
    const char *slash = strrchr(name, '/');
    size_t length = strlen(name);
    const char *of_plant = rule_files_plant_rest(name, NULL);
    if (length < 5 || strcmp(name + length - 5, ".json") != 0)
        return false;
    if (of_plant)
        return rule_files_plant_may(of_plant);
    for (size_t i = 0; !slash && i < sizeof FILES / sizeof FILES[0]; i++)
        if (strcmp(name, FILES[i]) == 0)
            return true;
    for (size_t i = 0; slash && i < sizeof FOLDERS / sizeof FOLDERS[0]; i++)
        if (strlen(FOLDERS[i]) == (size_t)(slash - name) &&
            strncmp(name, FOLDERS[i], (size_t)(slash - name)) == 0)
            return true;
    return false;
}

/* 0 and the bytes, or a code. */
static int read_below(const char *folder, const char *name, struct text_buffer *ret)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", folder, name);
    int rc = jsonx_read(path.data, JSONX_BYTES, ret, NULL);
    text_buffer_free(&path);
    return rc;
}

/* What a file of that name stands for: the shipped one, a plant's for the company's. */
static int read_behind(const char *dirs, const char *name, struct text_buffer *ret)
{
    const char *rest = rule_files_plant_rest(name, NULL);
    struct text_buffer path = {0};
    if (!rest)
        return read_below(shipped_folder(dirs), name, ret);
    doc_path(dirs, rest, &path);
    int rc = jsonx_read(path.data, JSONX_BYTES, ret, NULL);
    text_buffer_free(&path);
    return rc;
}

static bool same_bytes(const struct text_buffer *a, const struct text_buffer *b)
{
    return a->length == b->length && (!a->length || memcmp(a->data, b->data, a->length) == 0);
}

struct place {
    const char *folder, *dirs; /* it is one of these */
    json_t *found;             /* by name */
};

/* Why a file whose name is none of those read does nothing. */
static const char *unread(const char *name)
{
    const char *rest = rule_files_plant_rest(name, NULL);
    return rest && is_read(rest) ? "the company's" : "not read";
}

static void compare(const struct place *place, const char *name, const char **ret_is,
                    const char **ret_release)
{
    struct text_buffer mine = {0}, now = {0}, then = {0}, kept = {0}, path = {0};
    text_appendf(&kept, "%s/%s", KEPT, name);
    text_appendf(&path, "%s/%s", place->folder, name);
    bool shipped = read_behind(place->dirs, name, &now) == 0;
    bool known = read_below(place->folder, kept.data, &then) == 0;
    read_below(place->folder, name, &mine);
    *ret_is = !is_read(name)            ? unread(name)
              : doc_masked(path.data)   ? "removed"
              : !shipped                ? "added"
              : same_bytes(&mine, &now) ? "same"
                                        : "changed";
    *ret_release = !known ? "unknown" : shipped && same_bytes(&then, &now) ? "same" : "changed";
    text_buffer_free(&mine);
    text_buffer_free(&now);
    text_buffer_free(&then);
    text_buffer_free(&kept);
    text_buffer_free(&path);
}

static void add_file(const struct place *place, const char *name)
{
    const char *is = NULL, *release = NULL;
    if (json_object_get(place->found, name))
        return; /* a folder before this one has it */
    compare(place, name, &is, &release);
    json_object_set_new(place->found, name,
                        json_pack("{s:o, s:o, s:s, s:s}", "file", jsonx_outside(name), "folder",
                                  jsonx_outside(place->folder), "is", is, "release", release));
}

static void walk(const struct place *place, const char *below, int depth)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", place->folder, below);
    DIR *folder = opendir(path.data);
    const struct dirent *entry;
    while (folder && (entry = readdir(folder))) {
        struct text_buffer name = {0};
        size_t length = strlen(entry->d_name);
        text_appendf(&name, "%s%s%s", below, *below ? "/" : "", entry->d_name);
        if (entry->d_name[0] == '.')
            ; /* what was kept, and what editors leave */
        else if (length > 5 && strcasecmp(entry->d_name + length - 5, ".json") == 0)
            add_file(place, name.data);
        else if (depth < DEEPEST)
            walk(place, name.data, depth + 1);
        text_buffer_free(&name);
    }
    if (folder)
        closedir(folder);
    text_buffer_free(&path);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static json_t *sorted(json_t *by_name)
{
    size_t count = 0;
    const char **names = xcalloc(json_object_size(by_name) + 1, sizeof *names);
    json_t *list = json_array(), *file;
    const char *name;
    json_object_foreach(by_name, name, file)
    {
        names[count++] = name;
    }
    qsort(names, count, sizeof *names, by_text);
    for (size_t i = 0; i < count; i++)
        json_array_append(list, json_object_get(by_name, names[i]));
    free(names);
    return list;
}

json_t *rule_files_own(const char *dirs)
{
    const char *shipped = shipped_folder(dirs);
    json_t *found = json_object();
    for (const char *at = dirs; at < shipped; at += strcspn(at, ":") + 1) {
        char *folder = first_folder(at);
        const struct place place = {folder, dirs, found};
        walk(&place, "", 0);
        free(folder);
    }
    const struct place last = {shipped, dirs, found};
    walk(&last, "plants", 1);
    json_t *list = sorted(found);
    json_decref(found);
    return list;
}

json_t *rule_files_document(const char *dirs, const json_t *own, enum rule_files_which which)
{
    const char *file = json_string_value(json_object_get(own, "file"));
    const char *folder = json_string_value(json_object_get(own, "folder"));
    struct text_buffer name = {0}, bytes = {0};
    json_t *document = NULL;
    text_appendf(&name, "%s%s%s", which == RULE_FILES_THEN ? KEPT : "",
                 which == RULE_FILES_THEN ? "/" : "", file);
    int rc = which == RULE_FILES_NOW ? read_behind(dirs, name.data, &bytes)
                                     : read_below(folder, name.data, &bytes);
    if (rc == 0)
        jsonx_parse(bytes.length ? bytes.data : "", bytes.length, &document, NULL);
    text_buffer_free(&name);
    text_buffer_free(&bytes);
    return document;
}

/* ---- copying ---- */

/* Makes the folders above the file. */
static void make_folders(char *path)
{
    for (char *at = strchr(path + 1, '/'); at; at = strchr(at + 1, '/')) {
        *at = '\0';
        mkdir(path, 0755); /* what is wrong with it, opening the file says */
        *at = '/';
    }
}

/* Whole or not at all; `path` is written to while folders are made. */
static int write_file(char *path, const struct text_buffer *bytes, struct error *err)
{
    struct text_buffer fresh = {0};
    text_appendf(&fresh, "%s.new", path);
    make_folders(path);
    int fd = open(fresh.data, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    bool good = fd >= 0 && write_all(fd, bytes->data, bytes->length) == 0 && fsync(fd) == 0;
    int why = errno;
    if (fd >= 0)
        close(fd);
    if (good && rename(fresh.data, path)) {
        good = false;
        why = errno;
    }
    if (!good) {
        if (fd >= 0)
            unlink(fresh.data);
        error_set(err, ERROR_IO, "cannot write %s: %s", path, strerror(why));
        error_hint(err, "%s", why == EACCES ? "as root: sudo" : "");
    }
    text_buffer_free(&fresh);
    return good ? 0 : ERROR_IO;
}

static int write_below(const char *folder, const char *middle, const char *name,
                       const struct text_buffer *bytes, struct error *err)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s%s%s/%s", folder, *middle ? "/" : "", middle, name);
    int rc = write_file(path.data, bytes, err);
    text_buffer_free(&path);
    return rc;
}

/* The bytes that a copy begins with; ERROR_NOT_FOUND if it is no rule file or there are none. */
static int read_shipped(const char *dirs, const char *name, struct text_buffer *ret,
                        struct error *err)
{
    bool of_plant = rule_files_plant_rest(name, NULL) != NULL;
    if (is_read(name) && read_behind(dirs, name, ret) == 0)
        return 0;
    error_set(err, ERROR_NOT_FOUND, "no rule file '%s' in %s", name,
              of_plant ? dirs : shipped_folder(dirs));
    error_hint(err, "named as there: causes/rope.json, lots.json");
    return ERROR_NOT_FOUND;
}

static int refuse_second(const char *folder, const char *name, struct error *err)
{
    struct text_buffer path = {0};
    struct stat found;
    text_appendf(&path, "%s/%s", folder, name);
    int rc = 0;
    if (lstat(path.data, &found) == 0) {
        rc = error_set(err, ERROR_CONFLICT, "there is a file already: %s", path.data);
        error_hint(err, "remove it to begin again");
    }
    text_buffer_free(&path);
    return rc;
}

int rule_files_copy(const char *dirs, const char *name, struct error *err)
{
    char *folder = first_folder(dirs);
    struct text_buffer bytes = {0};
    int rc = read_shipped(dirs, name, &bytes, err);
    if (!rc)
        rc = refuse_second(folder, name, err);
    if (!rc)
        rc = write_below(folder, KEPT, name, &bytes, err);
    if (!rc)
        rc = write_below(folder, "", name, &bytes, err);
    text_buffer_free(&bytes);
    free(folder);
    return rc;
}

int rule_files_seen(const char *dirs, const char *name, struct error *err)
{
    char *folder = first_folder(dirs);
    struct text_buffer bytes = {0};
    int rc = read_shipped(dirs, name, &bytes, err);
    if (!rc)
        rc = write_below(folder, KEPT, name, &bytes, err);
    text_buffer_free(&bytes);
    free(folder);
    return rc;
}
