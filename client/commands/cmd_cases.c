#include "base/plant_level.h"
#include "base/text.h"
#include "base/when.h"
#include "base/words.h"
#include "commands/command.h"
#include "commands/pages.h"
#include "commands/period.h"
#include "show/pick.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"symptom", ARGS_SYMPTOM, NULL},
    {"plant", "NAME", "of that plant of a company alone"},
    {"line", "NAME", "of the lot"},
    {"product", "NAME",
     "of the lot: a code, words of a name, or a family: pan-bread, bun, flatbread, sweet-good"},
    {"cause", "ID", "that leads the ranking"},
    {"since", "DATE", "with a complaint since; 2026-11-19, Mon, 7 days ago"},
    {"state", "WORD", "open if not given"},
    {"mine", NULL, "whose owner I am (the login name)"},
    {"owner", "NAME", "whose owner is that person"},
    {"overdue", NULL, "that were due before today"},
    {"order", "WORD", "newest if not given"},
    {"limit", "N", "at most so many (50)"},
    {0}};
static const struct option_words option_words[] = {
    {"state", WORDS_CASE_STATES}, {"order", WORDS_CASE_ORDERS}, {0}};

static const struct column columns[] = {
    {"case", COLUMN_LEFT, 0},         {"symptom", COLUMN_LEFT, 0}, {"lot", COLUMN_LEFT, 12},
    {"line", COLUMN_LEFT, 0},         {"n", COLUMN_RIGHT, 0},      {"newest", COLUMN_LEFT, 0},
    {"likely cause", COLUMN_LEFT, 16}};

/* Where it is asked for how they are followed up. */
static const struct column follow_columns[] = {
    {"case", COLUMN_LEFT, 0},  {"severity", COLUMN_LEFT, 0},     {"due", COLUMN_LEFT, 0},
    {"owner", COLUMN_LEFT, 6}, {"symptom", COLUMN_LEFT, 0},      {"lot", COLUMN_LEFT, 12},
    {"n", COLUMN_RIGHT, 0},    {"likely cause", COLUMN_LEFT, 16}};

/* "11-22", with its year unless that is the present one. */
static void add_date(struct table *t, const char *date, int32_t today)
{
    char when[VIEW_NUMBER];
    char now[16];
    view_when(date, when);
    when[strlen(when) < 10 ? strlen(when) : 10] = '\0';
    bool this_year = strlen(when) == 10 && strncmp(when, day_format(today, now), 4) == 0;
    table_add(t, this_year ? when + 5 : when);
}

static void add_part(struct text_buffer *text, const char *part)
{
    text_appendf(text, "%s%s", text->length ? ", " : "", part);
}

/* Other things than the kinds that have causes never get any. */
static void add_top(struct text_buffer *text, const json_t *item)
{
    const json_t *top = json_object_get(item, "top");
    bool other = strcmp(pick_text(item, "symptom", ""), "other") == 0;
    char percent[VIEW_NUMBER], part[160];
    text_clip(other ? "to be read: no causes to rank" : "not ranked yet", part, sizeof part);
    if (pick_has(top, "cause"))
        snprintf(part, sizeof part, "%s %s",
                 view_chance(pick_number(top, "probability", 0), percent),
                 pick_text(top, "cause", ""));
    add_part(text, part);
}

/* What must be seen first stands first. The ranking is about the bread: beside harm it would be
 * read as its cause. */
static void add_cause(struct table *t, const json_t *item)
{
    struct text_buffer text = {0};
    bool harm = pick_bool(item, "harm", false), possible = pick_bool(item, "harm_possible", false);
    const char *verdict = harm || possible ? NULL : pick_text(item, "settled_on", NULL);
    if (possible)
        add_part(&text, "MAY BE HARM, to be read");
    if (harm)
        add_part(&text, pick_bool(item, "harm_since_settled", false) ? "HARM since it was settled"
                                                                     : "HARM");
    if (pick_bool(item, "hold", false))
        add_part(&text, "on hold");
    if (strcmp(pick_text(item, "state", "open"), "settled") == 0)
        add_part(&text, verdict ? "settled:" : "settled");
    else if (pick_bool(item, "overdue", false))
        add_part(&text, "OVERDUE");
    if (verdict) /* stands before what was likely */
        text_appendf(&text, " %s", verdict);
    else if (!harm && !possible)
        add_top(&text, item);
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void add_case(struct table *t, const json_t *item, int32_t today)
{
    char number[VIEW_NUMBER];
    char line[PLANT_LEVEL];
    table_add(t, pick_text(item, "case", "?"));
    table_add(t, pick_text(item, "symptom", ""));
    table_add(t, standing_named(item));
    table_add(t, plant_level_of(item, "line", line));
    table_add(t, view_number(pick_number(item, "complaints", 0), number));
    add_date(t, pick_text(item, "as_of", pick_text(item, "opened", "")), today);
    add_cause(t, item);
}

/* Which products were looked for, where they are not just what was said. */
static void show_products(const struct view *v, const json_t *rest, const char *said)
{
    size_t i;
    const json_t *product;
    struct text_buffer text = {0};
    const json_t *products = json_object_get(rest, "products");
    json_array_foreach(products, i, product)
    {
        text_appendf(&text, "%s%s (%s)", i ? ", " : "", pick_text(product, "product", "?"),
                     pick_text(product, "name", "?"));
    }
    bool as_said = json_array_size(products) == 1 && said &&
                   strcmp(pick_text(json_array_get(products, 0), "product", ""), said) == 0;
    if (pick_has(rest, "family"))
        view_textf(v, VIEW_PLAIN, 0, 2, "Of the family %s.", pick_text(rest, "family", "?"));
    else if (text.length && !as_said)
        view_textf(v, VIEW_PLAIN, 0, 2, "Of %s.", text.data);
    text_buffer_free(&text);
}

static void add_followed(struct table *t, const json_t *item, int32_t today)
{
    char number[VIEW_NUMBER], lot[PLANT_LEVEL];
    table_add(t, pick_text(item, "case", "?"));
    table_add(t, pick_text(item, "severity", ""));
    add_date(t, pick_text(item, "due", ""), today);
    table_add(t, pick_text(item, "owner", ""));
    table_add(t, pick_text(item, "symptom", ""));
    table_add(t, plant_level(standing_named(item), pick_text(item, "plant", NULL), lot));
    table_add(t, view_number(pick_number(item, "complaints", 0), number));
    add_cause(t, item);
}

static void show(const struct client *c, const struct pages *found, bool follow)
{
    struct table *t =
        follow ? table_new(follow_columns, sizeof follow_columns / sizeof *follow_columns)
               : table_new(columns, sizeof columns / sizeof *columns);
    int32_t today = zone_day(c->zone).today;
    size_t i;
    const json_t *item;
    if (json_array_size(found->rows) == 0)
        view_text(&c->view, VIEW_PLAIN, 0, 0, "No such case.");
    json_array_foreach(found->rows, i, item)
    {
        (follow ? add_followed : add_case)(t, item, today);
    }
    if (table_rows(t) > 0)
        table_print(t, &c->view, 0);
    pages_tell_more(found, c);
    table_free(t);
}

static bool asks_follow(const struct args *a)
{
    const char *order = args_value(a, "order");
    return args_has(a, "mine") || args_has(a, "owner") || args_has(a, "overdue") ||
           (order && strcmp(order, "urgent") == 0);
}

static int add_query(const struct client *c, const struct args *a, struct text_buffer *path)
{
    static const char *const passed[] = {"state",   "symptom", "plant", "line",
                                         "product", "cause",   "order", "owner"};
    char login[64];
    if (args_has(a, "mine") && args_has(a, "owner"))
        return client_usage(c, "--mine and --owner are one or the other");
    text_append(path, "/v1/cases");
    for (size_t i = 0; i < sizeof passed / sizeof *passed; i++)
        client_path_query(path, passed[i], args_value(a, passed[i]));
    if (args_has(a, "mine"))
        client_path_query(path, "owner", client_login(login, sizeof login));
    client_path_query(path, "overdue", args_has(a, "overdue") ? "1" : NULL);
    return period_query_day(c, a, "since", path);
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

static int tell(struct client *c, const struct args *a, struct pages *found)
{
    if (c->json) {
        pages_print(found, "cases");
    } else {
        show_products(&c->view, found->rest, args_value(a, "product"));
        show(c, found, asks_follow(a));
    }
    return EXIT_DONE;
}

static int cases(struct client *c, const struct args *a)
{
    static const struct pages_list LIST = {"cases", 50, 100000, add_query, tell};
    int rc = pages_list(c, a, &LIST);
    if (rc == EXIT_REFUSED && args_has(a, "cause") && !c->json)
        show_causes(c, args_value(a, "cause"));
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
