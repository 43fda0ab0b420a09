#include "base/when.h"
#include "commands.h"
#include "form.h"
#include "period.h"
#include "pick.h"
#include "table.h"
#include <string.h>

#define FACTORS_SHOWN 15
#define USUAL_DAYS 55 /* with the last day eight weeks */

static const struct option_row options[] = {{"symptom", "WORD", "mold, off-odor or staling"},
                                            {"from", "DATE", "packed from"},
                                            {"to", "DATE", "packed to, that day included"},
                                            {"cases", "CASES", "instead: these cases, C12,C15,…"},
                                            {0}};

static const struct column columns[] = {
    {"factor", COLUMN_LEFT, 0},  {"level", COLUMN_LEFT, 12},     {"with cases", COLUMN_RIGHT, 0},
    {"others", COLUMN_RIGHT, 0}, {"odds ratio", COLUMN_LEFT, 0}, {"q", COLUMN_RIGHT, 0}};

static void add_share(struct table *t, const json_t *factor, const char *exposed, const char *all)
{
    char a[VIEW_NUMBER];
    char b[VIEW_NUMBER];
    table_addf(t, "%s" VIEW_NBSP "of" VIEW_NBSP "%s",
               view_number(pick_number(factor, exposed, 0), a),
               view_number(pick_number(factor, all, 0), b));
}

/* A ratio that has no end comes as null. */
static const char *ratio(const json_t *factor, const char *name, char buffer[static VIEW_NUMBER])
{
    return pick_has(factor, name) ? view_rough(pick_number(factor, name, 0), buffer)
                                  : "no" VIEW_NBSP "limit";
}

static void show(const struct client *c, const json_t *document)
{
    const json_t *factors = json_object_get(document, "factors");
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *factor;
    view_title(&c->view, "Common factors, the most telling first");
    json_array_foreach(factors, i, factor)
    {
        char n[3][VIEW_NUMBER];
        if (i == FACTORS_SHOWN)
            break;
        table_add(t, pick_text(factor, "factor", "?"));
        table_add(t, pick_text(factor, "level", "?"));
        add_share(t, factor, "case_lots_exposed", "case_lots");
        add_share(t, factor, "other_lots_exposed", "other_lots");
        table_addf(t, "%s" VIEW_NBSP "(%s" VIEW_NBSP "to" VIEW_NBSP "%s)",
                   ratio(factor, "odds_ratio", n[0]), ratio(factor, "low", n[1]),
                   ratio(factor, "high", n[2]));
        table_add(t, view_small(pick_number(factor, "q", 1), n[0]));
    }
    if (table_rows(t) > 0)
        table_print(t, &c->view, 0);
    else
        view_text(&c->view, VIEW_PLAIN, 2, 0, "Nothing is shared more than chance would have it.");
    if (json_array_size(factors) > FACTORS_SHOWN)
        view_textf(&c->view, VIEW_DIM, 0, 0, "%zu further; --json has all",
                   json_array_size(factors) - FACTORS_SHOWN);
    view_text(&c->view, VIEW_DIM, 0, 0,
              "Lots with such complaints against lots without. q: the share of false finds among "
              "those at least as telling.");
    table_free(t);
}

static int add_period(const struct client *c, const struct args *a, struct text_buffer *path)
{
    char date[16];
    int32_t from = 0;
    int32_t to = 0;
    int rc = period_day(c, a, "to", form_day_now().today, &to);
    if (!rc)
        rc = period_day(c, a, "from", to - USUAL_DAYS, &from);
    if (rc)
        return rc;
    path_query(path, "from", day_format(from, date));
    path_query(path, "to", day_format(to, date));
    return EXIT_DONE;
}

static int trace(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    struct text_buffer cases = {0};
    json_t *document = NULL;
    int rc = EXIT_DONE;
    text_append(&path, "/v1/trace");
    if (args_has(a, "cases")) {
        text_append(&cases, args_value(a, "cases"));
        for (int i = 0; i < a->count; i++)
            text_appendf(&cases, ",%s", a->words[i]);
        path_query(&path, "cases", cases.data);
        path_query(&path, "symptom", args_value(a, "symptom"));
    } else if (a->count) {
        rc = client_usage(c, "'%s' is one word too many; cases come after --cases", a->words[0]);
    } else if (!args_has(a, "symptom")) {
        rc = client_usage(c, "--symptom is needed, or --cases");
    } else {
        path_query(&path, "symptom", args_value(a, "symptom"));
        rc = add_period(c, a, &path);
    }
    if (!rc)
        rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    text_buffer_free(&cases);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_trace = {
    .name = "trace",
    .args = "[CASE…]",
    .help = "common factors of a set of cases or of a period",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = trace,
};
