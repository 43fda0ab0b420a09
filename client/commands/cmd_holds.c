#include "base/plant_level.h"
#include "commands/command.h"
#include "show/pick.h"
#include "show/table.h"
#include <stdlib.h>

static const struct option_row options[] = {{"plant", "NAME", "of that plant of a company alone"},
                                            {0}};
static const struct column columns[] = {{"hold", COLUMN_LEFT, 0},   {"lot", COLUMN_LEFT, 0},
                                        {"units", COLUMN_RIGHT, 0}, {"best by", COLUMN_LEFT, 0},
                                        {"sent", COLUMN_LEFT, 6},   {"why", COLUMN_LEFT, 10},
                                        {"who", COLUMN_LEFT, 6},    {"days", COLUMN_RIGHT, 0}};

/* A lot goes by its code, and then by what its records know of it. */
static void add_lot(struct table *t, const json_t *hold)
{
    char number[VIEW_NUMBER], lot[PLANT_LEVEL];
    char *routes = pick_shown(hold, "routes");
    bool recorded = pick_bool(hold, "on_record", true);
    table_add(t, plant_level_of(hold, "lot", lot));
    table_add(t, recorded ? view_number(pick_number(hold, "units", 0), number) : "?");
    if (!recorded)
        table_add(t, "not on record");
    else
        table_addf(t, "%s%s", pick_text(hold, "code_date", ""),
                   pick_bool(hold, "in_code", true) ? "" : " past");
    table_add(t, routes);
    free(routes);
}

static void show(const struct client *c, const json_t *document)
{
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *hold;
    char number[VIEW_NUMBER];
    json_array_foreach(json_object_get(document, "holds"), i, hold)
    {
        table_add(t, pick_text(hold, "hold", "?"));
        add_lot(t, hold);
        table_addf(t, "%s%s%s", pick_text(hold, "case", ""), pick_has(hold, "case") ? ": " : "",
                   pick_text(hold, "reason", ""));
        table_add(t, pick_text(hold, "by", "?"));
        table_add(t, view_number(pick_number(hold, "age_days", 0), number));
    }
    if (i == 0)
        view_text(&c->view, VIEW_PLAIN, 0, 0, "No lot is on hold.");
    else
        table_print(t, &c->view, 0);
    table_free(t);
}

static int holds(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    struct text_buffer path = {0};
    text_append(&path, "/v1/holds");
    client_path_query(&path, "plant", args_value(a, "plant"));
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_holds = {
    .name = "holds",
    .args = "",
    .help = "lists what is on hold, the longest held first",
    .more =
        "One row a hold: units, best-by date, where the lot was sent, why it is held (after the "
        "case, if there is one), who decided, for how many days. A lot with several holds "
        "has several rows, and is held as long as one stands.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = holds,
};
