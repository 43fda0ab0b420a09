#include "commands/case_path.h"
#include "commands/command.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>

static const struct column columns[] = {{"lot", COLUMN_LEFT, 12},    {"risk", COLUMN_RIGHT, 0},
                                        {"units", COLUMN_RIGHT, 0},  {"best by", COLUMN_LEFT, 0},
                                        {"sent by", COLUMN_LEFT, 8}, {"because", COLUMN_LEFT, 16}};

static void add_lot(struct table *t, const json_t *lot)
{
    char percent[VIEW_NUMBER];
    char number[VIEW_NUMBER];
    char *routes = pick_shown(lot, "routes");
    table_add(t, pick_text(lot, "lot", "?"));
    table_add(t, view_percent(pick_number(lot, "probability", 0), percent));
    table_add(t, view_number(pick_number(lot, "units", 0), number));
    table_addf(t, "%s%s", pick_text(lot, "code_date", ""),
               pick_bool(lot, "in_code", true) ? "" : " past");
    table_add(t, routes);
    table_addf(t, "%s%s", pick_has(lot, "holds") ? "ON HOLD; " : "", pick_text(lot, "because", ""));
    free(routes);
}

static void show(const struct client *c, const json_t *document)
{
    const json_t *lots = json_object_get(document, "lots");
    const json_t *candidates = json_object_get(document, "candidates");
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    double units = 0;
    char number[VIEW_NUMBER];
    size_t i;
    const json_t *lot;
    case_path_harm(c, document);
    view_title(&c->view, "%s  other lots that share %s", pick_text(document, "case", "case"),
               pick_text(document, "title", pick_text(document, "cause", "the cause")));
    standing_show(&c->view, document, NULL);
    json_array_foreach(lots, i, lot)
    {
        add_lot(t, lot);
        if (pick_bool(lot, "in_code", true))
            units += pick_number(lot, "units", 0);
    }
    if (i == 0 && pick_has(document, "none_because")) {
        view_textf(&c->view, VIEW_PLAIN, 2, 2, "None named: %s.",
                   pick_text(document, "none_because", ""));
        if (json_array_size(candidates))
            show_candidates(&c->view, candidates);
    } else if (i == 0) {
        view_text(&c->view, VIEW_PLAIN, 2, 0, "None.");
    } else {
        table_print(t, &c->view, 2);
        view_textf(
            &c->view, VIEW_PLAIN, 2, 2,
            "%s units still in code. A hold is QA's decision: oddloaf hold LOT… --reason, or for "
            "all of them --reach %s",
            view_number(units, number), pick_text(document, "case", "CASE"));
    }
    table_free(t);
}

static int reach(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    int rc =
        case_path_get_part(c, a->words[0], "/reach", a->count > 1 ? a->words[1] : NULL, &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_reach = {
    .name = "reach",
    .args = "CASE [CAUSE]",
    .help = "other lots that share the suspected condition",
    .least = 1,
    .most = 2,
    .exec = reach,
};
