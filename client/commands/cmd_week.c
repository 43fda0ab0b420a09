#include "commands/command.h"
#include "commands/save_page.h"
#include "show/pick.h"
#include "show/week_show.h"
#include <string.h>

static const struct option_row options[] = {
    {"by", ARGS_CUTS, "rates by these alone, each with all its rows"},
    {"plant", "NAME", "of that plant of a company alone"},
    {"against", "SPAN", "what it was in another week, month, quarter or year beside it"},
    {"html", "FILE", "of a week, one page with charts, for mail and paper (- is standard output)"},
    {"csv", "FILE", "a table as CSV (- is standard output)"},
    {"table", "WORD",
     "which, with --csv: rates (the usual), causes, harm, returns, complaints, cases; of a week "
     "signals, stories, to-come, weeks, actions, holds, overdue, stages too"},
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
    client_path_query(path, "plant", args_value(a, "plant"));
    client_path_query(path, "format", format);
    client_path_query(path, "table", format ? args_value(a, "table") : NULL);
}

static int save(const struct client *c, const struct args *a, const char *format, const char *file)
{
    struct text_buffer path = {0};
    week_path(a, format, &path);
    int rc = save_page(c, path.data, file);
    text_buffer_free(&path);
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
