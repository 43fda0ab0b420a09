#include "deliver/deliver.h"
#include "base/jsonx.h"
#include "intake/fields.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ONE_S 20L    /* a caller is waiting on the line */
#define LINES_S 300L /* a few hundred complaints, placed and committed */

bool deliver_keeps(int code)
{
    return code != 0 && code != ERROR_INVALID && code != ERROR_CONFLICT && code != ERROR_TOO_LARGE;
}

/* The daemon's own words for an answer that is not 2xx. */
static int refusal(const struct reply *reply, const json_t *problem, struct error *err)
{
    error_hint(err, "%s", pick_text(problem, "hint", ""));
    const char *detail = pick_text(problem, "detail", pick_text(problem, "title", NULL));
    return detail ? error_set(err, client_code_of(reply->status), "%s", detail)
                  : error_set(err, client_code_of(reply->status),
                              "the daemon answered with status %ld", reply->status);
}

/* Whoever heard of harm logs it again. */
static void say_hurt(const struct client *c, long status, const json_t *problem)
{
    client_problem_say(c, status, problem);
    if (harm_reported(NULL, problem) || harm_possible(problem)) {
        struct view v;
        view_init(&v, stderr);
        view_text(&v, VIEW_PLAIN, 0, 0,
                  "The complaint itself is refused: mend it and log it again.");
    }
}

int deliver_one(const struct client *c, const json_t *complaint, json_t **ret_answer,
                struct error *err)
{
    struct reply reply = {0};
    char *body = jsonx_dump(complaint);
    struct request request = {.method = "POST",
                              .path = "/v1/complaints?rank=1",
                              .type = "application/json",
                              .body = body,
                              .length = strlen(body),
                              .timeout_s = ONE_S};
    int rc = transport_call(c->transport, &request, &reply, err);
    bool good = !rc && transport_is_good(&reply);
    if (!rc && !good) {
        json_t *problem = client_problem_of(&reply);
        rc = refusal(&reply, problem, err);
        if (deliver_keeps(rc))
            client_problem_harm(problem);
        else
            say_hurt(c, reply.status, problem);
        json_decref(problem);
    }
    if (good && jsonx_parse(reply.body.data ? reply.body.data : "", reply.body.length, ret_answer,
                            err) != 0)
        rc = ERROR_INTERNAL;
    transport_reply_free(&reply);
    free(body);
    return rc;
}

static int take_answers(const struct reply *reply, size_t count, deliver_each each, void *arg,
                        struct error *err)
{
    const char *at = reply->body.length ? reply->body.data : "";
    size_t index = 0;
    while (*at && index < count) {
        size_t length = strcspn(at, "\n");
        json_t *answer = NULL;
        if (length > 0) {
            if (jsonx_parse(at, length, &answer, err))
                return ERROR_INTERNAL;
            each(arg, index++, answer);
            json_decref(answer);
        }
        at += length + (at[length] == '\n');
    }
    if (index < count)
        return error_set(err, ERROR_INTERNAL, "the daemon answered %zu of %zu complaints", index,
                         count);
    return 0;
}

int deliver_lines(const struct client *c, const struct deliver_batch *batch, deliver_each each,
                  void *arg, struct error *err)
{
    struct reply reply = {0};
    struct text_buffer path = {0};
    text_append(&path, "/v1/complaints?rank=1");
    client_path_query(&path, "source", batch->source);
    struct request request = {.method = "POST",
                              .path = path.data,
                              .type = "application/x-ndjson",
                              .body = batch->lines,
                              .length = batch->length,
                              .timeout_s = LINES_S};
    int rc = transport_call(c->transport, &request, &reply, err);
    if (!rc && !transport_is_good(&reply)) {
        json_t *problem = client_problem_of(&reply);
        rc = refusal(&reply, problem, err);
        json_decref(problem);
    } else if (!rc)
        rc = take_answers(&reply, batch->count, each, arg, err);
    text_buffer_free(&path);
    transport_reply_free(&reply);
    return rc;
}

/* ---- the spool ---- */

int deliver_keep(const struct client *c, const struct error *why, const char *lines, size_t length,
                 char ret_path[static SPOOL_PATH])
{
    struct error err = {0};
    struct spool *spool = NULL;
    int exit_code = client_fail(c, why);
    ret_path[0] = '\0';
    int rc = spool_open(transport_address(c->transport), &spool, &err);
    if (!rc)
        rc = spool_keep(spool, lines, length, ret_path, &err);
    if (!rc) {
        client_say(c, "kept in %s", ret_path);
        client_say(c, "it is sent before the next `oddloaf log`, or with `oddloaf log --replay`");
    } else {
        ret_path[0] = '\0';
        client_fail(c, &err);
        client_say(c, "NOT KEPT. Copy the lines between the marks; "
                      "`oddloaf log --from FILE` takes them later");
        fprintf(stderr, "-----\n%.*s-----\n", (int)length, lines);
    }
    spool_close(spool);
    return exit_code == EXIT_DENIED ? EXIT_DENIED : EXIT_UNREACHABLE;
}

struct replay {
    const struct client *c;
    bool print;
    struct view view; /* where harm is told */
    struct harm_tally harm;
    struct text_buffer said, asked; /* what is read out to whom harm was heard of, may be */
    bool harmed;
    int sent, again, refused;
    struct text_buffer cases;
    const char *lines; /* of the file under way */
    struct text_buffer *refused_lines;
    struct error why; /* the first that was not sent */
};

static const char *line_at(const char *lines, size_t index, size_t *ret_length)
{
    while (index-- > 0)
        lines += strcspn(lines, "\n") + 1;
    *ret_length = strcspn(lines, "\n") + 1;
    return lines;
}

static void say_refused(const struct client *c, const json_t *error)
{
    size_t i;
    const json_t *fault, *faults = json_object_get(error, "faults");
    if (json_array_size(faults) == 0)
        client_say(c, "a kept complaint is refused: %s: %s",
                   fields_title(pick_text(error, "field", "")),
                   pick_text(error, "reason", "refused"));
    json_array_foreach((json_t *)faults, i, fault) client_say(
        c, "a kept complaint is refused: %s: %s", fields_title(pick_text(fault, "field", "")),
        pick_text(fault, "reason", "refused"));
}

/* A mail may leave, but nobody was there to hear it when the complaint was taken. */
static void tell_harm(struct replay *r, const char *name, const json_t *answer)
{
    bool harm = harm_reported(NULL, answer), possible = !harm && harm_possible(answer);
    char back[400];
    if (harm_taken_back(answer, back, sizeof back))
        view_textf(&r->view, VIEW_PLAIN, 2, 4, "%-8s %s", name, back);
    if (!harm && !possible)
        return;
    r->harm.possible += possible;
    r->harmed = r->harmed || harm;
    struct text_buffer *script = harm ? &r->said : &r->asked;
    if (script->length == 0)
        text_append(script, pick_text(answer, "script", ""));
    if (harm)
        harm_tally_add(&r->harm, name, pick_text(answer, "alarm", NULL));
    view_textf(&r->view, VIEW_PLAIN, 2, 4, "%-8s %-18s  %s%s", name, standing_named(answer),
               harm ? "HARM" : "TO READ",
               pick_bool(answer, "again", false) ? "  (logged before)" : "");
}

static void on_answer(void *arg, size_t index, json_t *answer)
{
    struct replay *r = arg;
    size_t length = 0;
    const json_t *error = json_object_get(answer, "error");
    if (r->print && r->c->json)
        client_print(answer);
    if (error) {
        const char *line = line_at(r->lines, index, &length);
        text_append_bytes(r->refused_lines, line, length);
        say_refused(r->c, error);
        tell_harm(r, "a refused one", answer);
        r->refused++;
        return;
    }
    bool again = pick_bool(answer, "again", false);
    r->again += again;
    r->sent += !again;
    if (r->cases.length < 60)
        text_appendf(&r->cases, "%s%s", r->cases.length ? ", " : "",
                     pick_text(answer, "case", "?"));
    tell_harm(r, pick_text(answer, "case", "?"), answer);
}

static size_t count_lines(const char *lines, size_t length)
{
    size_t count = 0;
    for (size_t i = 0; i < length; i++)
        count += lines[i] == '\n';
    return count;
}

static void say_torn(const struct client *c, const struct spool *spool, int torn)
{
    client_say(c,
               "%d kept %s not whole: what is whole of %s was sent, and %s set aside in %s, named "
               "*.torn, for you to look at",
               torn, torn == 1 ? "file is" : "files are", torn == 1 ? "it" : "them",
               torn == 1 ? "it is" : "they are", spool_folder(spool));
}

static int on_send(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    struct replay *r = arg;
    struct error why = {0};
    r->lines = lines;
    r->refused_lines = refused;
    const struct deliver_batch batch = {lines, length, count_lines(lines, length), "spool"};
    int rc = deliver_lines(r->c, &batch, on_answer, r, &why);
    if (rc && !deliver_keeps(rc)) {
        char text[1024];
        client_say(r->c, "kept complaints are refused: %s", error_format(&why, text, sizeof text));
        client_say(r->c, HARM_UNREAD);
        text_append_bytes(refused, lines, length);
        r->refused += (int)batch.count;
        return 0;
    }
    if (rc && !r->why.code)
        r->why = why;
    return rc;
}

int deliver_waiting(const struct client *c, bool print)
{
    struct error err = {0};
    struct spool *spool = NULL;
    struct replay r = {.c = c, .print = print};
    char refused[SPOOL_PATH];
    int exit_code = EXIT_DONE;
    view_init(&r.view, print && !c->json ? stdout : stderr);
    if (spool_open(transport_address(c->transport), &spool, &err) != 0)
        return print ? client_fail(c, &err) : EXIT_DONE; /* no folder: nothing waits there */
    const struct spool_counts before = spool_count(spool);
    if (before.waiting > 0 || print) {
        int rc = spool_replay(spool, on_send, &r, refused, &err);
        if (r.sent + r.again > 0)
            client_say(c, "kept complaints sent: %d (%s%s)%s", r.sent + r.again,
                       r.cases.length ? r.cases.data : "", r.cases.length >= 60 ? ", …" : "",
                       r.again ? "; some were there already" : "");
        harm_tally_show(&r.view, &r.harm);
        if (r.harmed)
            harm_show_call_back(&r.view, false, r.said.data);
        if (r.harm.possible)
            harm_show_call_back(&r.view, true, r.asked.data);
        if (refused[0])
            client_say(c, "refused ones are in %s", refused);
        const struct spool_counts now = spool_count(spool);
        if (now.torn > before.torn)
            say_torn(c, spool, now.torn - before.torn);
        if (rc) {
            exit_code = err.code ? client_fail(c, &err) : EXIT_DONE;
            exit_code = r.why.code ? client_fail(c, &r.why) : exit_code;
            client_say(c, "%d kept %s wait in %s", now.waiting, now.waiting == 1 ? "file" : "files",
                       spool_folder(spool));
        } else if (r.refused || now.torn > before.torn) {
            exit_code = EXIT_REFUSED;
        }
    }
    if (print && before.elsewhere)
        client_say(
            c,
            "%d kept %s for another daemon, whose address stands behind the @ of its name in %s; "
            "not sent to this one",
            before.elsewhere, before.elsewhere == 1 ? "file waits" : "files wait",
            spool_folder(spool));
    text_buffer_free(&r.cases);
    text_buffer_free(&r.said);
    text_buffer_free(&r.asked);
    harm_tally_clear(&r.harm);
    spool_close(spool);
    return exit_code;
}

struct spool_counts deliver_kept(const struct client *c)
{
    struct spool *spool = NULL;
    struct spool_counts counts = {0};
    if (spool_open(transport_address(c->transport), &spool, NULL) == 0)
        counts = spool_count(spool);
    spool_close(spool);
    return counts;
}
