#include "commands/command.h"
#include "show/pick.h"
#include "show/week_show.h"
#include <errno.h>
#include <stdio.h>
#include <string.h>

static const struct option_row options[] = {
    {"by", ARGS_CUTS, "rates by these alone, each with all its rows"},
    {"against", "SPAN", "what it was in another week, month, quarter or year beside it"},
    {"html", "FILE", "of a week, one page with charts, for mail and paper (- is standard output)"},
    {"csv", "FILE", "a table as CSV (- is standard output)"},
    {"table", "WORD",
     "which, with --csv: rates (the usual), causes, harm, returns, complaints, cases; of a week "
     "signals, stories, to-come, weeks, actions, holds too"},
    {0}};

/* Else a month, a quarter or a year, of which there is less to tell. */
static bool is_week(const char *span)
{
    return strchr(span, 'W') || strchr(span, 'w') || strcmp(span, "current") == 0 ||
           strcmp(span, "latest") == 0;
}

static void week_path(const struct args *a, const char *format, struct text_buffer *path)
{
    const char *span = a->count ? a->words[0] : "latest";
    text_append(path, is_week(span) ? "/v1/weeks/" : "/v1/spans/");
    client_path_word(path, span);
    client_path_query(path, "by", args_value(a, "by"));
    client_path_query(path, "against", args_value(a, "against"));
    client_path_query(path, "format", format);
    client_path_query(path, "table", format ? args_value(a, "table") : NULL);
}

static int write_out(const struct client *c, const char *file, const struct text_buffer *body)
{
    bool standard = strcmp(file, "-") == 0;
    FILE *out = standard ? stdout : fopen(file, "wbe");
    if (!out)
        return client_usage(c, "cannot write %s: %s", file, strerror(errno));
    bool good = fwrite(body->length ? body->data : "", 1, body->length, out) == body->length;
    if (!standard && fclose(out) != 0)
        good = false;
    if (!good) {
        client_say(c, "cannot write %s: %s", file, strerror(errno));
        return EXIT_REFUSED;
    }
    if (!standard && !c->json)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Written: %s", file);
    return EXIT_DONE;
}

static int save(const struct client *c, const struct args *a, const char *format, const char *file)
{
    struct text_buffer path = {0};
    struct error err = {0};
    struct reply reply = {0};
    week_path(a, format, &path);
    struct request request = {.method = "GET", .path = path.data, .timeout_s = 120};
    int rc = transport_call(c->transport, &request, &reply, &err);
    if (rc)
        rc = client_fail(c, &err);
    else if (reply.status < 200 || reply.status > 299)
        rc = client_problem(c, &reply);
    else
        rc = write_out(c, file, &reply.body);
    text_buffer_free(&path);
    transport_reply_free(&reply);
    return rc;
}

static int week(struct client *c, const struct args *a)
{
    const char *html = args_value(a, "html");
    const char *csv = args_value(a, "csv");
    int rc = EXIT_DONE;
    if (html)
        rc = save(c, a, "html", html);
    if (csv && !rc)
        rc = save(c, a, "csv", csv);
    if (rc || ((html || csv) && !c->json))
        return rc;
    struct text_buffer path = {0};
    json_t *document = NULL;
    week_path(a, NULL, &path);
    rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json)
        client_print(document);
    else if (json_object_get(document, "span"))
        week_show_span(&c->view, document);
    else
        week_show(&c->view, document);
    json_decref(document);
    return EXIT_DONE;
}

const struct command cmd_week = {
    .name = "week",
    .args = "[SPAN]",
    .help = "the weekly pattern: what rose and what to do; rates, causes",
    .more = "An ISO 8601 week as 2026-W47, or current or latest (the last whole week, which is the "
            "usual); or a month, a quarter or a year: 2026-11, 2026-Q4, 2026.",
    .options = options,
    .least = 0,
    .most = 1,
    .exec = week,
};
