#include "deliver/client.h"
#include "base/jsonx.h"
#include "intake/fields.h"
#include "show/harm.h"
#include "show/pick.h"
#include <pwd.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int exit_code(enum error_code code)
{
    switch (code) {
    case ERROR_NONE:
        return EXIT_DONE;
    case ERROR_DENIED:
        return EXIT_DENIED;
    case ERROR_NOT_FOUND:
        return EXIT_NOT_FOUND;
    case ERROR_UNREACHABLE:
    case ERROR_BUSY:
    case ERROR_NO_SPACE:
    case ERROR_IO:
    case ERROR_MEMORY:
    case ERROR_INTERNAL:
        return EXIT_UNREACHABLE;
    default:
        return EXIT_REFUSED;
    }
}

/* "oddloaf: log: " before it. */
static void tell(const struct client *c, const char *text)
{
    struct text_buffer line = {0};
    fflush(stdout);
    text_appendf(&line, "oddloaf: %s%s%s", c->command ? c->command : "", c->command ? ": " : "",
                 text);
    view_line(stderr, 0, line.data);
    text_buffer_free(&line);
}

/* A program's name as people name it; of a row of a file, as the file does, too: there it is to be
 * put right. */
static void name_field(struct error *err)
{
    char name[sizeof err->field];
    const char *title = fields_title(text_clip(err->field, name, sizeof name));
    if (title == name || !strpbrk(name, "_./"))
        return;
    err->field[0] = '\0';
    if (err->source[0]) {
        char both[sizeof err->field + 64];
        snprintf(both, sizeof both, "%s (%s)", name, title);
        error_field(err, both, NULL);
    } else {
        error_field(err, title, NULL);
    }
}

char *client_fault(const struct error *err, char *buffer, size_t size)
{
    struct error named = *err;
    name_field(&named);
    return error_format(&named, buffer, size);
}

int client_fail(const struct client *c, const struct error *err)
{
    char line[1024];
    tell(c, client_fault(err, line, sizeof line));
    return exit_code(err->code);
}

__attribute__((format(printf, 2, 0))) static void say(const struct client *c, const char *format,
                                                      va_list args)
{
    char raw[1024];
    char line[1024];
    vsnprintf(raw, sizeof raw, format, args);
    tell(c, text_clip(raw, line, sizeof line));
}

int client_usage(const struct client *c, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    say(c, format, args);
    va_end(args);
    fprintf(stderr, "try: oddloaf help%s%s\n", c->command ? " " : "", c->command ? c->command : "");
    return EXIT_USAGE;
}

void client_say(const struct client *c, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    say(c, format, args);
    va_end(args);
}

enum error_code client_code_of(long status)
{
    static const struct {
        long status;
        enum error_code code;
    } rows[] = {{400, ERROR_INVALID},   {401, ERROR_DENIED},   {403, ERROR_DENIED},
                {404, ERROR_NOT_FOUND}, {409, ERROR_CONFLICT}, {413, ERROR_TOO_LARGE},
                {422, ERROR_INVALID},   {503, ERROR_BUSY},     {507, ERROR_NO_SPACE}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (rows[i].status == status)
            return rows[i].code;
    return status >= 400 && status < 500 ? ERROR_INVALID : ERROR_INTERNAL;
}

static void place_refused(struct error *one, const json_t *item)
{
    char *value = pick_shown(item, "value");
    error_at(one, pick_text(item, "source", ""), (long)pick_int(item, "line", 0),
             (long)pick_int(item, "column", 0));
    error_field(one, pick_text(item, "field", ""), NULL);
    error_field(one, NULL, value);
    free(value);
}

/* A lone refused value, of which the detail says all there is to say. */
static const json_t *lone_refused(const json_t *errors, const char *detail)
{
    const json_t *item = json_array_get(errors, 0);
    bool lone = json_array_size(errors) == 1 && detail &&
                strcmp(pick_text(item, "reason", ""), detail) == 0;
    return lone ? item : NULL;
}

/* One line for each value the daemon refused, in the words of error_format(). */
static void say_refused(const json_t *errors)
{
    size_t i;
    const json_t *item;
    json_array_foreach(errors, i, item)
    {
        struct error one = {.code = ERROR_INVALID};
        char line[1024];
        place_refused(&one, item);
        text_clip(pick_text(item, "reason", "refused"), one.text, sizeof one.text);
        view_line(stderr, 2, client_fault(&one, line, sizeof line));
    }
}

/* Harm that is why. */
static void say_open_harm(const json_t *open)
{
    size_t i;
    const json_t *row;
    json_array_foreach(open, i, row)
    {
        struct text_buffer line = {0};
        harm_open_line(row, &line);
        view_line(stderr, 2, line.data);
        text_buffer_free(&line);
    }
}

/* What was sent is refused; that somebody was hurt was heard. */
void client_problem_harm(const json_t *problem)
{
    struct view v;
    const char *script = pick_text(problem, "script", NULL),
               *alarm = pick_text(problem, "alarm", NULL);
    view_init(&v, stderr);
    if (!script && (harm_reported(NULL, problem) || harm_possible(problem)))
        harm_show_written(&v, !harm_reported(NULL, problem), alarm);
    else if (harm_reported(NULL, problem))
        harm_show(&v, script, alarm);
    else if (harm_possible(problem))
        harm_show_possible(&v, script, alarm);
}

json_t *client_problem_of(const struct reply *reply)
{
    json_t *problem = NULL;
    if (reply->json && reply->body.length)
        jsonx_parse(reply->body.data, reply->body.length, &problem, NULL);
    return problem;
}

int client_problem(const struct client *c, const struct reply *reply)
{
    json_t *problem = client_problem_of(reply);
    int rc = client_problem_say(c, reply->status, problem);
    json_decref(problem);
    return rc;
}

int client_problem_say(const struct client *c, long status, const json_t *problem)
{
    struct error err = {0};
    const char *detail = pick_text(problem, "detail", NULL);
    if (!detail)
        detail = pick_text(problem, "title", NULL);
    enum error_code code = client_code_of(status);
    if (detail)
        error_set(&err, code, "%s", detail);
    else
        error_set(&err, code, "the daemon answered with status %ld", status);
    error_hint(&err, "%s", pick_text(problem, "hint", ""));
    const json_t *errors = json_object_get(problem, "errors");
    const json_t *lone = lone_refused(errors, detail);
    if (lone)
        place_refused(&err, lone);
    int rc = client_fail(c, &err);
    if (!lone)
        say_refused(errors);
    say_open_harm(json_object_get(problem, "open_harm"));
    client_problem_harm(problem);
    return rc;
}

static int call(const struct client *c, const struct request *request, json_t **ret)
{
    struct error err = {0};
    struct reply reply = {0};
    int rc = transport_call(c->transport, request, &reply, &err);
    if (rc) {
        rc = client_fail(c, &err);
    } else if (!transport_is_good(&reply)) {
        rc = client_problem(c, &reply);
    } else {
        json_error_t why;
        json_t *document =
            json_loadb(reply.body.length ? reply.body.data : "", reply.body.length, 0, &why);
        if (document) {
            *ret = document;
        } else {
            error_hint(&err, "is %s really oddloafd?", transport_name(c->transport));
            error_set(&err, ERROR_INTERNAL, "the daemon's answer is not JSON: %s", why.text);
            rc = client_fail(c, &err);
        }
    }
    transport_reply_free(&reply);
    return rc;
}

int client_get(const struct client *c, const char *path, json_t **ret)
{
    struct request request = {.method = "GET", .path = path};
    return call(c, &request, ret);
}

int client_post_long(const struct client *c, const char *path, const json_t *body, long timeout_s,
                     json_t **ret)
{
    char *bytes = json_dumps(body, JSON_COMPACT);
    struct request request = {.method = "POST",
                              .path = path,
                              .type = "application/json",
                              .body = bytes,
                              .length = bytes ? strlen(bytes) : 0,
                              .timeout_s = timeout_s};
    int rc = call(c, &request, ret);
    free(bytes);
    return rc;
}

int client_post(const struct client *c, const char *path, const json_t *body, json_t **ret)
{
    return client_post_long(c, path, body, 0, ret);
}

void client_print(const json_t *document)
{
    char *text = jsonx_dump(document);
    if (text)
        puts(text);
    free(text);
}

int client_answer(const struct client *c, json_t *document,
                  void (*show)(const struct client *c, const json_t *document))
{
    if (c->json)
        client_print(document);
    else
        show(c, document);
    json_decref(document);
    return EXIT_DONE;
}

int client_decide(const struct client *c, const char *path, json_t *body, const char *done)
{
    json_t *answer = NULL;
    int rc = client_post(c, path, body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json)
        client_print(answer);
    else
        view_text(&c->view, VIEW_PLAIN, 0, 0, done);
    json_decref(answer);
    return EXIT_DONE;
}

void client_path_word(struct text_buffer *path, const char *word)
{
    static const char plain[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";
    for (const char *p = word; *p; p++) {
        if (strchr(plain, *p))
            text_append_bytes(path, p, 1);
        else
            text_appendf(path, "%%%02X", (unsigned)(unsigned char)*p);
    }
}

void client_path_query(struct text_buffer *path, const char *name, const char *value)
{
    if (!value)
        return;
    text_append(path, strchr(path->data, '?') ? "&" : "?");
    text_append(path, name);
    text_append(path, "=");
    client_path_word(path, value);
}

const char *client_login(char *buffer, size_t size)
{
    const struct passwd *user = getpwuid(geteuid());
    const char *name = user ? user->pw_name : getenv("USER");
    text_clip(name && *name ? name : "unknown", buffer, size);
    return buffer;
}
