#include "base/jsonx.h"
#include "base/uuid.h"
#include "base/when.h"
#include "commands/attached_file.h"
#include "commands/command.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/table.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PART_BYTES = 512 << 10 };

static const struct option_row options[] = {
    {"list", NULL, "what is attached"},
    {"get", "N", "the file of that number"},
    {"output", "FILE", "into this file (its own name, here)"},
    {"detach", "N", "take that one away"},
    {"reason", "TEXT", "why (needed to take one away)"},
    {"by", "NAME", "who does it (the login name)"},
    {"from", "FILE", "files as export gives them, attached.ndjson beside its folder attachments"},
    {0}};

/* ---- sending ---- */

static int send_part(const struct client *c, const char *upload, int64_t number, const char *bytes,
                     size_t length)
{
    struct error err = {0};
    struct reply reply = {0};
    struct text_buffer path = {0};
    text_appendf(&path, "/v1/attachments/parts?upload=%s&part=%lld", upload, (long long)number);
    const struct request request = {.method = "POST",
                                    .path = path.data,
                                    .type = "application/octet-stream",
                                    .body = bytes,
                                    .length = length};
    int rc = EXIT_DONE;
    if (transport_call(c->transport, &request, &reply, &err))
        rc = client_fail(c, &err);
    else if (!transport_is_good(&reply))
        rc = client_problem(c, &reply);
    transport_reply_free(&reply);
    text_buffer_free(&path);
    return rc;
}

/* Part by part: never more of it in memory. */
static int send_bytes(const struct client *c, FILE *file, const char *path, const char *upload)
{
    char *bytes = xmalloc(PART_BYTES);
    int64_t number = 0;
    int rc = EXIT_DONE;
    for (size_t length = PART_BYTES; !rc && length == PART_BYTES;) {
        length = fread(bytes, 1, PART_BYTES, file);
        if (length || number == 0)
            rc = send_part(c, upload, number++, bytes, length);
    }
    if (!rc && ferror(file))
        rc = client_usage(c, "cannot read %s", path);
    free(bytes);
    return rc;
}

static const char *name_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static int send_file(const struct client *c, const char *path, const char *upload)
{
    FILE *file = fopen(path, "rbe");
    if (!file) {
        struct error err = {0};
        error_set(&err, ERROR_NOT_FOUND, "cannot read %s: %s", path, strerror(errno));
        return client_fail(c, &err);
    }
    int rc = send_bytes(c, file, path, upload);
    fclose(file);
    return rc;
}

/* `body` says to what, by whom, under which name; takes it. */
static int attach_file(const struct client *c, const char *path, json_t *body, json_t **ret)
{
    char upload[UUID_TEXT];
    struct clock clock = clock_system();
    uuid_v7(clock_now_ms(&clock), upload);
    json_object_set_new(body, "upload", json_string(upload));
    int rc = send_file(c, path, upload);
    if (!rc)
        rc = client_post_long(c, "/v1/attachments", body, 300, ret);
    json_decref(body);
    return rc;
}

static void say_attached(const struct client *c, const json_t *answer)
{
    char number[VIEW_NUMBER];
    int64_t removed = pick_int(answer, "removed", 0);
    view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s: %s%lld, %s, %s bytes%s",
               pick_text(answer, "name", "?"),
               pick_bool(answer, "again", false) ? "is attached already as " : "attached as ",
               (long long)pick_int(answer, "attachment", 0), pick_text(answer, "type", "?"),
               view_number((double)pick_int(answer, "bytes", 0), number),
               removed ? "; what it told of place, owner and device was left out" : "");
    if (strcmp(pick_text(answer, "type", ""), "application/pdf") == 0)
        view_text(&c->view, VIEW_DIM, 2, 2,
                  "A report is kept as it came, with what it says of its author.");
    harm_show_heard(&c->view, answer);
}

static int attach_all(struct client *c, const struct args *a)
{
    char login[64];
    int rc = EXIT_DONE;
    for (int i = 1; i < a->count && rc != EXIT_UNREACHABLE; i++) {
        json_t *answer = NULL;
        json_t *body = json_pack("{ss ss ss}", "to", a->words[0], "name", name_of(a->words[i]),
                                 "by", args_by(a, login, sizeof login));
        int one = body ? attach_file(c, a->words[i], body, &answer)
                       : client_usage(c, "a name is not UTF-8 text");
        if (!one)
            one = client_answer(c, answer, say_attached);
        rc = rc ? rc : one;
    }
    return rc;
}

/* ---- from an export ---- */

static int take_line(struct client *c, const char *folder, const char *line, size_t length)
{
    struct error err = {0};
    struct text_buffer path = {0};
    json_t *body = NULL, *answer = NULL;
    if (jsonx_parse(line, length, &body, &err))
        return client_fail(c, &err);
    attached_file_path(folder, pick_int(body, "attachment", 0), &path);
    json_object_del(body, "attachment");
    int rc = attach_file(c, path.data, body, &answer);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, answer, say_attached);
}

static int attach_from(struct client *c, const char *path)
{
    FILE *file = fopen(path, "re");
    char *line = NULL, *folder = xstrndup(path, (size_t)(name_of(path) - path));
    size_t size = 0;
    int rc = EXIT_DONE;
    if (!file) {
        struct error err = {0};
        error_set(&err, ERROR_NOT_FOUND, "cannot read %s: %s", path, strerror(errno));
        rc = client_fail(c, &err);
    }
    for (ssize_t length; file && (length = getline(&line, &size, file)) > 0;) {
        int one = take_line(c, *folder ? folder : "./", line, (size_t)length);
        rc = rc ? rc : one;
        if (one == EXIT_UNREACHABLE || one == EXIT_DENIED)
            break;
    }
    if (file)
        fclose(file);
    free(line);
    free(folder);
    return rc;
}

/* ---- looking ---- */

static void show_attached(const struct client *c, const json_t *document)
{
    static const struct column COLUMNS[] = {{"No.", COLUMN_RIGHT, 0}, {"Name", COLUMN_LEFT, 14},
                                            {"Type", COLUMN_LEFT, 0}, {"Bytes", COLUMN_RIGHT, 0},
                                            {"Of", COLUMN_LEFT, 0},   {"By", COLUMN_LEFT, 8},
                                            {"When", COLUMN_LEFT, 10}};
    struct table *t = table_new(COLUMNS, sizeof COLUMNS / sizeof *COLUMNS);
    size_t i;
    const json_t *one;
    char number[VIEW_NUMBER], when[VIEW_NUMBER];
    json_array_foreach(json_object_get(document, "attachments"), i, one)
    {
        table_addf(t, "%lld", (long long)pick_int(one, "attachment", 0));
        table_add(t, pick_text(one, "name", "?"));
        table_add(t, pick_text(one, "type", "?"));
        table_add(t, view_number((double)pick_int(one, "bytes", 0), number));
        table_addf(t, "%.8s", pick_text(one, "case", pick_text(one, "complaint", "?")));
        table_add(t, pick_text(one, "by", "?"));
        table_add(t, view_when(pick_text(one, "at", "?"), when));
    }
    if (table_rows(t))
        table_print(t, &c->view, 0);
    else
        view_text(&c->view, VIEW_PLAIN, 0, 0, "Nothing is attached.");
    table_free(t);
}

static int list(struct client *c, const char *of, json_t **ret)
{
    struct text_buffer path = {0};
    text_append(&path, "/v1/attachments");
    client_path_query(&path, "of", of);
    int rc = client_get(c, path.data, ret);
    text_buffer_free(&path);
    return rc;
}

/* Its own name, if none is given. */
static const char *name_in(const json_t *document, int64_t id)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(document, "attachments"), i, one)
    {
        if (pick_int(one, "attachment", 0) == id)
            return pick_text(one, "name", NULL);
    }
    return NULL;
}

static int get(struct client *c, const struct args *a, int64_t id)
{
    json_t *document = NULL;
    int rc = list(c, a->words[0], &document);
    if (rc)
        return rc;
    const char *name = name_in(document, id), *output = args_value(a, "output");
    if (!name) {
        client_say(c, "nothing of the number %lld is attached there", (long long)id);
        rc = EXIT_NOT_FOUND;
    } else {
        rc = attached_file_fetch(c, id, output ? output : name);
    }
    if (!rc && c->json)
        client_print(document);
    else if (!rc)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Written to %s", output ? output : name);
    json_decref(document);
    return rc;
}

static void say_detached(const struct client *c, const json_t *answer)
{
    view_textf(&c->view, VIEW_PLAIN, 0, 0, "%lld is detached.",
               (long long)pick_int(answer, "detached", 0));
    harm_show_heard(&c->view, answer);
}

static int detach(struct client *c, const struct args *a, int64_t id)
{
    char login[64];
    struct text_buffer path = {0};
    json_t *answer = NULL;
    if (!args_has(a, "reason"))
        return client_usage(c, "--reason is needed: what is taken away is kept with it");
    json_t *body = json_pack("{ss ss}", "reason", args_value(a, "reason"), "by",
                             args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "the reason or the name is not UTF-8 text");
    text_appendf(&path, "/v1/attachments/%lld/detach", (long long)id);
    int rc = client_post(c, path.data, body, &answer);
    text_buffer_free(&path);
    json_decref(body);
    return rc ? rc : client_answer(c, answer, say_detached);
}

static int attach(struct client *c, const struct args *a)
{
    int64_t id = 0;
    const char *number = args_has(a, "get") ? args_value(a, "get") : args_value(a, "detach");
    json_t *document = NULL;
    if (args_has(a, "from"))
        return a->count ? client_usage(c, "--from takes no case and no file")
                        : attach_from(c, args_value(a, "from"));
    if (number && (text_to_int64(number, &id) != 0 || id < 1))
        return client_usage(c, "%s is not the number of an attachment: --list shows them", number);
    if (a->count == 0)
        return client_usage(c, "name a case or a complaint, and files");
    if (number || args_has(a, "list")) {
        if (a->count > 1)
            return client_usage(c, "either files are attached, or one is looked at");
        if (args_has(a, "get"))
            return get(c, a, id);
        if (number)
            return detach(c, a, id);
        int rc = list(c, a->words[0], &document);
        return rc ? rc : client_answer(c, document, show_attached);
    }
    if (a->count < 2)
        return client_usage(c, "name the files to attach, or --list");
    return attach_all(c, a);
}

const struct command cmd_attach = {
    .name = "attach",
    .args = "CASE|COMPLAINT FILE… | CASE|COMPLAINT --list | --from FILE",
    .help = "attaches photos and laboratory reports, lists them, gives them back",
    .more =
        "JPEG, PNG, PDF, text and CSV, by what they hold and not by their name. What a photo tells "
        "of place, owner and device is left out, the picture stays as it is. Files of a complaint "
        "go with the caller's contact data.",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = attach,
};
