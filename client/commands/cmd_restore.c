#include "base/when.h"
#include "commands/asked.h"
#include "commands/machine_path.h"
#include "show/pick.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LOOK_EVERY_MS = 300 };

/* "holds 2, verdicts 1"; "nothing". */
static void append_missing(struct text_buffer *out, json_t *missing)
{
    const char *what;
    json_t *count;
    json_object_foreach(missing, what, count)
    {
        if (json_integer_value(count) > 0)
            text_appendf(out, "%s%s %lld", out->length ? ", " : "", what,
                         (long long)json_integer_value(count));
    }
    if (!out->length)
        text_append(out, "nothing");
    for (char *p = out->data; *p; p++)
        *p = *p == '_' ? ' ' : *p;
}

static void show_missing(const struct view *v, json_t *missing)
{
    struct text_buffer text = {0};
    append_missing(&text, missing);
    view_label(v, "missing", "came after the backup, and in what is kept only: %s", text.data);
    text_buffer_free(&text);
}

static void show(const struct client *c, const json_t *r)
{
    const struct view *v = &c->view;
    const char *kept = pick_text(r, "kept", "?");
    view_title(v, "Restored from %s", pick_text(r, "file", "?"));
    struct text_buffer back = {0}, word = {0};
    text_appendf(&back, "%s/oddloaf.db", kept);
    text_append_word(&word, back.data);
    view_label(v, "kept", "what was there: %s; oddloaf restore %s goes back", kept, word.data);
    text_buffer_free(&back);
    text_buffer_free(&word);
    int64_t erased = pick_int(r, "erased", 0);
    char count[VIEW_COUNT];
    view_label(v, "erased again", "%s", view_count((double)erased, "contact", count));
    view_label(v, "held mail", "%lld, sent already or stale: oddloaf outbox shows them",
               (long long)pick_int(r, "held_mails", 0));
    if (!pick_bool(r, "past_read", false))
        view_label(v, "not read", "what was there: %s", pick_text(r, "past_fault", "?"));
    else
        show_missing(v, json_object_get(r, "missing"));
}

static bool is_anew(const json_t *status, const json_t *asked)
{
    return strcmp(pick_text(status, "started_at", ""), pick_text(asked, "started_at", "")) != 0;
}

/* Of this restore: one before is older than the daemon that was asked, and a link in the file's
 * path gives it another name. */
static bool is_done(const json_t *status, const json_t *asked)
{
    const json_t *restored = json_object_get(status, "restored");
    int64_t at_ms, asked_ms;
    return when_parse(pick_text(restored, "at", ""), &at_ms, NULL) == 0 &&
           when_parse(pick_text(asked, "started_at", ""), &asked_ms, NULL) == 0 && at_ms > asked_ms;
}

/* Until it answers again: without a message of its own each time it does not. */
static int wait_for(const struct client *c, const json_t *asked, int64_t within_s, json_t **ret)
{
    const struct request request = {.method = "GET", .path = "/v1/status", .once = true};
    struct reply reply = {0};
    bool anew = false;
    for (int64_t until_ms = clock_monotonic_ms() + within_s * 1000;
         !anew && clock_monotonic_ms() < until_ms;) {
        usleep(LOOK_EVERY_MS * 1000);
        if (transport_call(c->transport, &request, &reply, NULL) || reply.status != 200)
            continue;
        json_decref(*ret);
        *ret = json_loads(reply.body.data ? reply.body.data : "", 0, NULL);
        anew = is_anew(*ret, asked);
    }
    transport_reply_free(&reply);
    return anew ? 0 : ERROR_UNREACHABLE;
}

static int tell(const struct client *c, const json_t *asked)
{
    struct error err = {0};
    json_t *status = NULL;
    int64_t within_s = pick_int(asked, "within_s", MACHINE_PATH_PATIENCE_S);
    client_say(c,
               "the daemon stops, puts the file in its place and starts again; this waits for it, "
               "%lld seconds at most",
               (long long)within_s);
    int rc = wait_for(c, asked, within_s, &status);
    if (rc) {
        error_set(
            &err, ERROR_UNREACHABLE,
            "the daemon has not come back in %lld seconds: it cannot start, or is at it still",
            (long long)within_s);
        error_hint(&err, "its log says which, and why (as the service: journalctl -u oddloafd); "
                         "`oddloaf status` tells once it is back");
    } else if (!is_done(status, asked)) {
        error_set(&err, ERROR_CONFLICT, "nothing was restored: the daemon is back as it was");
        error_hint(&err, "its log says why");
    } else {
        json_t *restored = json_incref(json_object_get(status, "restored"));
        json_decref(status);
        return client_answer(c, restored, show);
    }
    json_decref(status);
    return client_fail(c, &err);
}

/* Says what goes and asks. */
static int ask(const struct client *c, const json_t *look)
{
    const struct view *v = &c->view;
    struct text_buffer missing = {0};
    char when[VIEW_NUMBER];
    const char *until = pick_text(look, "until", NULL), *since = pick_text(look, "since", NULL);
    append_missing(&missing, json_object_get(look, "missing"));
    view_label(v, "file", "%s", pick_text(look, "file", "?"));
    view_label(v, "holds", "%s%s", until ? "what came until " : "nothing",
               until ? view_when(until, when) : "");
    if (since)
        view_label(v, "lacks", "%s; the first complaint it lacks came %s", missing.data,
                   view_when(since, when));
    else
        view_label(v, "lacks", "%s", missing.data);
    view_text(v, VIEW_PLAIN, 0, 2,
              "What it lacks is on record no more after this; it is kept aside with all else.");
    text_buffer_free(&missing);
    if (asked_yes(c, "Restore it?"))
        return EXIT_DONE;
    view_text(v, VIEW_PLAIN, 0, 0, "Nothing was restored.");
    return EXIT_REFUSED;
}

static const struct option_row options[] = {{"yes", NULL, "do not ask (scripts need it)"}, {0}};

static int restore(struct client *c, const struct args *a)
{
    bool yes = args_has(a, "yes");
    if (!yes && !asked_can(c))
        return client_usage(c, "nobody can be asked here: give --yes too");
    int rc = yes ? EXIT_DONE : machine_path_post(c, "/v1/restore/look", "file", a->words[0], ask);
    if (rc)
        return rc;
    return machine_path_post(c, "/v1/restore", "file", a->words[0], tell);
}

const struct command cmd_restore = {
    .name = "restore",
    .args = "FILE",
    .help = "puts a backup of the daemon's machine in the place of what is on record",
    .more = "The daemon checks the file whole, stops, keeps what was there aside, and starts anew. "
            "Who was erased since stays erased; mail sent already, or stale, is held back. On a "
            "terminal it says first what came since the backup, and asks.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = restore,
};
