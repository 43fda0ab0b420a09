#include "base/jsonx.h"
#include "commands/attached_file.h"
#include "commands/command.h"
#include "show/pick.h"
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct option_row options[] = {
    {"contacts", NULL, "with the callers' contact data; the desk only"}, {0}};

static int say_stopped(const struct client *c, const char *path)
{
    struct error err = {0};
    error_set(&err, ERROR_INVALID, "cannot write %s: %s", path, strerror(errno));
    client_fail(c, &err);
    return EXIT_REFUSED;
}

/* Nobody finds half of it: what could not be fetched whole has no name. */
static int finish(const struct client *c, FILE *file, int rc, const char *partial, const char *path)
{
    bool written = !ferror(file) && fflush(file) == 0 && fsync(fileno(file)) == 0;
    written = fclose(file) == 0 && written;
    if (!rc && (!written || rename(partial, path)))
        rc = say_stopped(c, path);
    if (rc)
        unlink(partial);
    return rc;
}

static int fetch_piece(struct client *c, const char *name, bool contacts, const char *after,
                       json_t **ret)
{
    struct text_buffer address = {0};
    text_append(&address, "/v1/export/");
    client_path_word(&address, name);
    client_path_query(&address, "after", after);
    client_path_query(&address, "contacts", contacts ? "1" : NULL);
    int rc = client_get(c, address.data, ret);
    text_buffer_free(&address);
    return rc;
}

static int fetch_into(struct client *c, FILE *file, const char *name, bool contacts)
{
    char after[32] = "";
    for (bool more = true; more;) {
        json_t *piece = NULL;
        int rc = fetch_piece(c, name, contacts, *after ? after : NULL, &piece);
        if (rc)
            return rc;
        fputs(pick_text(piece, "text", ""), file);
        more = pick_has(piece, "next");
        snprintf(after, sizeof after, "%lld", (long long)pick_int(piece, "next", 0));
        json_decref(piece);
    }
    return EXIT_DONE;
}

static int fetch_file(struct client *c, const char *folder, const char *name, bool contacts)
{
    struct text_buffer path = {0}, partial = {0};
    text_appendf(&path, "%s/%s", folder, name);
    text_appendf(&partial, "%s.partial", path.data);
    errno = EINVAL;
    FILE *file = strchr(name, '/') ? NULL : fopen(partial.data, "wxe");
    int rc = file ? finish(c, file, fetch_into(c, file, name, contacts), partial.data, path.data)
                  : say_stopped(c, partial.data);
    text_buffer_free(&path);
    text_buffer_free(&partial);
    return rc;
}

/* Photos and reports are for the desk and QA: whoever else exports is told so, and has the rest. */
static int fetch_attached(struct client *c, const char *folder)
{
    struct text_buffer path = {0};
    char *line = NULL, *base = NULL;
    size_t size = 0;
    int rc = EXIT_DONE;
    text_appendf(&path, "%s/attached.ndjson", folder);
    FILE *file = fopen(path.data, "re");
    text_reset(&path);
    text_appendf(&path, "%s/", folder);
    base = text_take(&path);
    for (ssize_t length; file && !rc && (length = getline(&line, &size, file)) > 0;) {
        json_t *one = NULL;
        rc = jsonx_parse(line, (size_t)length, &one, NULL) ? EXIT_REFUSED : EXIT_DONE;
        int64_t id = pick_int(one, "attachment", 0);
        text_reset(&path);
        text_appendf(&path, "%sattachments", base);
        mkdir(path.data, 0700); /* if that fails, writing there says why */
        text_reset(&path);
        attached_file_path(base, id, &path);
        if (!rc)
            rc = attached_file_fetch(c, id, path.data);
        json_decref(one);
    }
    if (file)
        fclose(file);
    free(line);
    free(base);
    text_buffer_free(&path);
    if (rc == EXIT_DENIED)
        client_say(c, "without the files of photos and reports: they are for the desk and QA");
    return rc == EXIT_DENIED ? EXIT_DONE : rc;
}

static int export_all(struct client *c, const struct args *a)
{
    const char *folder = a->words[0];
    json_t *list = NULL;
    size_t i;
    const json_t *name;
    char files[VIEW_COUNT];
    int rc = client_get(c, "/v1/export", &list);
    if (rc)
        return rc;
    umask(0077);
    if (mkdir(folder, 0700))
        rc = say_stopped(c, folder);
    json_array_foreach(json_object_get(list, "files"), i, name)
    {
        if (!rc)
            rc = fetch_file(c, folder, json_string_value(name), args_has(a, "contacts"));
    }
    if (!rc)
        rc = fetch_attached(c, folder);
    if (!rc && c->json)
        client_print(list);
    else if (!rc)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s in %s; README.md there says what they are.",
                   view_count((double)i, "file", files), folder);
    json_decref(list);
    return rc;
}

const struct command cmd_export = {
    .name = "export",
    .args = "DIR",
    .help = "everything on record as open files, into a new folder",
    .more = "CSV and NDJSON with a README.md of the columns, and lots and dispatch as EPCIS 2.0. A "
            "fresh daemon loads it again: README.md has the commands.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = export_all,
};
