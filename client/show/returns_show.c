#include "show/returns_show.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "show/pick.h"
#include "show/table.h"
#include <string.h>

#define ROWS_SHOWN 8
#define STAND_SHOWN 12

static void show_head(const struct view *v, const json_t *document)
{
    char n[3][VIEW_COUNT];
    const char *plant = pick_text(document, "plant", "");
    view_title(v, "Returns%s%s, %s to %s", *plant ? " of " : "", plant,
               pick_text(document, "from", "?"), pick_text(document, "to", "?"));
    if (pick_bool(document, "on_record", true))
        view_label(v, "came back", "%s in %s",
                   view_count(pick_number(document, "units", 0), "unit", n[0]),
                   view_count(pick_number(document, "returns", 0), "return", n[1]));
    else
        view_label(v, "came back", "no returns on record");
    view_label(v, "dispatched", "%s",
               view_count(pick_number(document, "dispatched", 0), "unit", n[0]));
    if (!pick_has(document, "share"))
        return;
    view_label(v, "units back", "%s per million dispatched (%s to %s)",
               view_rough(pick_number(document, "share", 0) * 1e6, n[0]),
               view_rough(pick_number(document, "low", 0) * 1e6, n[1]),
               view_rough(pick_number(document, "high", 0) * 1e6, n[2]));
    view_label(v, "returns", "%s per million dispatched (%s to %s)",
               view_rough(pick_number(document, "per_million", 0), n[0]),
               view_rough(pick_number(document, "per_million_low", 0), n[1]),
               view_rough(pick_number(document, "per_million_high", 0), n[2]));
}

static void add_rate(struct table *t, const json_t *row, const char *rate, const char *low,
                     const char *high, double scale)
{
    char n[3][VIEW_NUMBER];
    if (!pick_has(row, rate)) {
        table_add(t, "");
        table_add(t, "");
        return;
    }
    table_add(t, view_rough(pick_number(row, rate, 0) * scale, n[0]));
    table_addf(t, "%s" VIEW_NBSP "to" VIEW_NBSP "%s",
               view_rough(pick_number(row, low, 0) * scale, n[1]),
               view_rough(pick_number(row, high, 0) * scale, n[2]));
}

/* Of what units are dispatched by: both rates. Rows come with the most units first. */
static void show_rates(const struct view *v, const json_t *rows, const char *factor)
{
    const struct column columns[] = {{factor, COLUMN_LEFT, 10},
                                     {"units", COLUMN_RIGHT, 0},
                                     {"units per million", COLUMN_RIGHT, 0},
                                     {"interval", COLUMN_LEFT, 0},
                                     {"returns per million", COLUMN_RIGHT, 0},
                                     {"interval", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i, further = 0;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char number[VIEW_NUMBER];
        if (pick_number(row, "returns", 0) < 1)
            continue;
        if (table_rows(t) == ROWS_SHOWN) {
            further++;
            continue;
        }
        char level[PLANT_LEVEL];
        table_add(t, plant_level_of(row, "level", level));
        table_add(t, view_number(pick_number(row, "units", 0), number));
        add_rate(t, row, "share", "low", "high", 1e6);
        add_rate(t, row, "per_million", "per_million_low", "per_million_high", 1);
    }
    if (table_rows(t) > 0) {
        view_blank(v);
        table_print(t, v, 2);
    }
    if (further)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has all", further);
    table_free(t);
}

/* Nothing to tell where nobody has said anything. */
static bool is_told(const json_t *rows)
{
    const json_t *only = json_array_size(rows) == 1 ? json_array_get(rows, 0) : NULL;
    return json_array_size(rows) > 0 &&
           (!only || strcmp(pick_text(only, "level", ""), "not given") != 0);
}

static void show_shares(const struct view *v, const json_t *rows, const char *title)
{
    const struct column columns[] = {{title, COLUMN_LEFT, 16},
                                     {"returns", COLUMN_RIGHT, 0},
                                     {"units", COLUMN_RIGHT, 0},
                                     {"of all", COLUMN_RIGHT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char n[3][VIEW_NUMBER];
        if (i == ROWS_SHOWN)
            break;
        table_add(t, pick_text(row, "level", "?"));
        table_add(t, view_number(pick_number(row, "returns", 0), n[0]));
        table_add(t, view_number(pick_number(row, "units", 0), n[1]));
        table_add(t, view_percent(pick_number(row, "share", 0), n[2]));
    }
    if (is_told(rows)) {
        view_blank(v);
        table_print(t, v, 2);
    }
    if (json_array_size(rows) > ROWS_SHOWN)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has all",
                   json_array_size(rows) - ROWS_SHOWN);
    table_free(t);
}

static void show_stand(const struct view *v, const json_t *stand)
{
    static const struct column columns[] = {{"case", COLUMN_LEFT, 0},
                                            {"came", COLUMN_LEFT, 0},
                                            {"units", COLUMN_RIGHT, 0},
                                            {"stands at", COLUMN_LEFT, 16}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *row;
    json_array_foreach(stand, i, row)
    {
        char text[VIEW_NUMBER];
        const char *put_at = pick_text(row, "put_at", "");
        if (i == STAND_SHOWN)
            break;
        table_add(t, pick_text(row, "case", "?"));
        table_add(t, view_when(pick_text(row, "at", ""), text));
        table_add(t, view_number(pick_number(row, "units", 0), text));
        table_add(t, *put_at ? put_at : "not said");
    }
    if (table_rows(t) > 0) {
        view_section(v, "Look where these stand");
        view_text(v, VIEW_PLAIN, 2, 0,
                  "Returned goods must never stand near cooling, slicing or packing: their spores "
                  "reach fresh bread. Of these it is not known that they stand outside.");
        table_print(t, v, 2);
    }
    if (json_array_size(stand) > STAND_SHOWN)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has more",
                   json_array_size(stand) - STAND_SHOWN);
    table_free(t);
}

void returns_show(const struct view *v, const json_t *document)
{
    static const char *const sent_by[] = {"route", "store", "product"};
    static const char *const told_by[] = {"symptom", "reason", "disposition"};
    const json_t *by = json_object_get(document, "by");
    show_head(v, document);
    for (size_t i = 0; i < 3; i++)
        show_rates(v, json_object_get(by, sent_by[i]), sent_by[i]);
    if (pick_number(document, "returns", 0) > 0)
        view_text(v, VIEW_DIM, 2, 0,
                  "Intervals are exact at 95 %, as if units (or returns) came one by one. Units "
                  "come back many at a time, so trust the interval of returns.");
    for (size_t i = 0; i < 3; i++)
        show_shares(v, json_object_get(by, told_by[i]), told_by[i]);
    show_stand(v, json_object_get(document, "stand"));
}
