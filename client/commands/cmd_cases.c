#include "base/when.h"
#include "base/words.h"
#include "commands/command.h"
#include "commands/pages.h"
#include "form/form.h"
#include "form/said_date.h"
#include "show/pick.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

#define USUAL_LIMIT 50

static const struct option_row options[] = {
    {"symptom", ARGS_SYMPTOM, NULL},
    {"line", "NAME", "of the lot"},
    {"product", "CODE", "of the lot"},
    {"cause", "ID", "that leads the ranking"},
    {"since", "DATE", "with a complaint since; 2026-11-19, Mon, 7 days ago"},
    {"state", "WORD", "open if not given"},
    {"order", "WORD", "newest if not given"},
    {"limit", "N", "at most so many (50)"},
    {0}};
static const struct option_words option_words[] = {
    {"state", WORDS_CASE_STATES}, {"order", WORDS_CASE_ORDERS}, {0}};

static const struct column columns[] = {
    {"case", COLUMN_LEFT, 0},         {"symptom", COLUMN_LEFT, 0}, {"lot", COLUMN_LEFT, 12},
    {"line", COLUMN_LEFT, 0},         {"n", COLUMN_RIGHT, 0},      {"newest", COLUMN_LEFT, 0},
    {"likely cause", COLUMN_LEFT, 16}};

/* "11-22", with its year unless that is the present one. */
static void add_date(struct table *t, const json_t *item, int32_t today)
{
    char when[VIEW_NUMBER];
    char now[16];
    view_when(pick_text(item, "as_of", pick_text(item, "opened", "")), when);
    when[strlen(when) < 10 ? strlen(when) : 10] = '\0';
    bool this_year = strlen(when) == 10 && strncmp(when, day_format(today, now), 4) == 0;
    table_add(t, this_year ? when + 5 : when);
}

static void add_part(struct text_buffer *text, const char *part)
{
    text_appendf(text, "%s%s", text->length ? ", " : "", part);
}

static void add_top(struct text_buffer *text, const json_t *top)
{
    char percent[VIEW_NUMBER], part[160] = "not ranked yet";
    if (pick_has(top, "cause"))
        snprintf(part, sizeof part, "%s %s",
                 view_percent(pick_number(top, "probability", 0), percent),
                 pick_text(top, "cause", ""));
    add_part(text, part);
}

/* What must be seen first stands first. The ranking is about the bread: beside harm it would be
 * read as its cause. */
static void add_cause(struct table *t, const json_t *item)
{
    struct text_buffer text = {0};
    bool harm = pick_bool(item, "harm", false);
    if (harm)
        add_part(&text, pick_bool(item, "harm_since_settled", false) ? "HARM since it was settled"
                                                                     : "HARM");
    if (pick_bool(item, "hold", false))
        add_part(&text, "on hold");
    if (strcmp(pick_text(item, "state", "open"), "settled") == 0)
        add_part(&text, "settled");
    if (!harm)
        add_top(&text, json_object_get(item, "top"));
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void add_case(struct table *t, const json_t *item, int32_t today)
{
    char number[VIEW_NUMBER];
    table_add(t, pick_text(item, "case", "?"));
    table_add(t, pick_text(item, "symptom", ""));
    table_add(t, standing_named(item));
    table_add(t, pick_text(item, "line", ""));
    table_add(t, view_number(pick_number(item, "complaints", 0), number));
    add_date(t, item, today);
    add_cause(t, item);
}

static void show(const struct client *c, const json_t *cases, bool more)
{
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    int32_t today = zone_day(c->zone).today;
    size_t i;
    const json_t *item;
    if (json_array_size(cases) == 0)
        view_text(&c->view, VIEW_PLAIN, 0, 0, "No such case.");
    json_array_foreach(cases, i, item)
    {
        add_case(t, item, today);
    }
    if (table_rows(t) > 0)
        table_print(t, &c->view, 0);
    if (more)
        view_text(&c->view, VIEW_PLAIN, 0, 0, "There are more: --limit takes a larger number.");
    table_free(t);
}

static char *path_of(const struct args *a, const char *since)
{
    static const char *const passed[] = {"state", "symptom", "line", "product", "cause", "order"};
    struct text_buffer path = {0};
    text_append(&path, "/v1/cases");
    for (size_t i = 0; i < sizeof passed / sizeof *passed; i++)
        client_path_query(&path, passed[i], args_value(a, passed[i]));
    client_path_query(&path, "since", since);
    return text_take(&path);
}

/* The cause asked for may be none: those there are. */
static void show_causes(struct client *c, const char *wanted)
{
    size_t i;
    const json_t *cause;
    json_t *rules = NULL;
    struct text_buffer text = {0};
    bool known = false;
    if (client_get(c, "/v1/rules", &rules))
        return;
    json_array_foreach(json_object_get(rules, "causes"), i, cause)
    {
        const char *id = pick_text(cause, "cause", "");
        known = known || strcmp(id, wanted) == 0;
        text_appendf(&text, "%s%s", i ? ", " : "The causes: ", id);
    }
    if (!known && text.length)
        fprintf(stderr, "%s\n", text.data);
    text_buffer_free(&text);
    json_decref(rules);
}

static int cases(struct client *c, const struct args *a)
{
    int64_t limit = USUAL_LIMIT;
    int32_t day = 0;
    char since[16];
    struct pages found;
    struct error err = {0};
    const char *said = args_value(a, "since");
    if (args_has(a, "limit") &&
        (text_to_int64(args_value(a, "limit"), &limit) != 0 || limit < 1 || limit > 100000))
        return client_usage(c, "--limit takes a number from 1 to 100000");
    if (said && said_date(said, zone_day(c->zone).today, SAID_PAST, &day, &err) != 0) {
        error_field(&err, "--since", said);
        client_fail(c, &err);
        return EXIT_USAGE;
    }
    char *path = path_of(a, said ? day_format(day, since) : NULL);
    int rc = pages_get(c, path, "cases", limit, &found);
    if (!rc && c->json)
        pages_print(&found, "cases");
    else if (!rc)
        show(c, found.rows, found.next[0] != '\0');
    if (rc == EXIT_REFUSED && args_has(a, "cause") && !c->json)
        show_causes(c, args_value(a, "cause"));
    pages_free(&found);
    free(path);
    return rc;
}

const struct command cmd_cases = {
    .name = "cases",
    .args = "",
    .help = "lists cases, newest or most urgent first",
    .options = options,
    .option_words = option_words,
    .least = 0,
    .most = 0,
    .exec = cases,
};
