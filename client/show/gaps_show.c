#include "show/gaps_show.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "show/pick.h"
#include "show/table.h"
#include <string.h>

#define TELLS_SHOWN 10
#define ROWS_SHOWN 25

/* "46: 12 of 28": the newest week that lacks some, else nothing. */
static void add_week(struct table *t, const json_t *row)
{
    const json_t *weeks = json_object_get(row, "weeks");
    for (size_t i = json_array_size(weeks); i > 0; i--) {
        const json_t *one = json_array_get(weeks, i - 1);
        if (pick_int(one, "with", 0) < pick_int(one, "lots", 0)) {
            table_addf(t, "%s: %lld of %lld", pick_text(one, "week", "?"),
                       (long long)pick_int(one, "with", 0), (long long)pick_int(one, "lots", 0));
            return;
        }
    }
    table_add(t, "");
}

static void show_records(const struct view *v, const json_t *records)
{
    static const struct column columns[] = {{"line", COLUMN_LEFT, 6},
                                            {"record", COLUMN_LEFT, 20},
                                            {"lots", COLUMN_RIGHT, 0},
                                            {"with it", COLUMN_RIGHT, 0},
                                            {"newest week that lacks some", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i, further = 0;
    const json_t *row;
    json_array_foreach(records, i, row)
    {
        char n[2][VIEW_NUMBER];
        if (pick_int(row, "with", 0) >= pick_int(row, "lots", 0))
            continue;
        if (table_rows(t) == ROWS_SHOWN) {
            further++;
            continue;
        }
        char line[PLANT_LEVEL];
        table_add(t, plant_level_of(row, "line", line));
        table_addf(t, "%s %s", pick_text(row, "kind", "?"), pick_text(row, "what", ""));
        table_add(t, view_number(pick_number(row, "lots", 0), n[0]));
        table_add(t, view_number(pick_number(row, "with", 0), n[1]));
        add_week(t, row);
    }
    view_section(v, "Not recorded for all lots");
    if (table_rows(t))
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 2, "Whatever is recorded is recorded for all lots.");
    if (further)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has all", further);
    table_free(t);
}

static void show_late_weeks(const struct view *v, const json_t *weeks)
{
    size_t i;
    const json_t *week;
    json_array_foreach(weeks, i, week)
    {
        long long lots = (long long)pick_int(week, "late", 0),
                  after = (long long)pick_int(week, "after_complaint", 0);
        if (lots || after)
            view_textf(v, VIEW_PLAIN, 4, 2, "%s: of %lld lots %lld late, %lld after a complaint",
                       pick_text(week, "week", "?"), (long long)pick_int(week, "lots", 0), lots,
                       after);
    }
}

static void show_late(const struct view *v, const json_t *late)
{
    size_t i;
    const json_t *row;
    if (json_array_size(late))
        view_section(v, "Came late");
    json_array_foreach(late, i, row)
    {
        char n[VIEW_NUMBER];
        struct text_buffer line = {0};
        char name[PLANT_LEVEL];
        text_appendf(&line, "line %s, %s", plant_level_of(row, "line", name),
                     pick_text(row, "kind", "?"));
        if (pick_has(row, "usual_h"))
            text_appendf(&line, " (usually %s hours after packing)",
                         view_rough(pick_number(row, "usual_h", 0), n));
        view_textf(v, VIEW_PLAIN, 2, 2, "%s", line.data);
        text_buffer_free(&line);
        show_late_weeks(v, json_object_get(row, "weeks"));
    }
}

static void show_values(const struct view *v, const json_t *still, const json_t *drifted)
{
    size_t i;
    const json_t *one;
    char n[2][VIEW_NUMBER], when[VIEW_NUMBER], name[PLANT_LEVEL];
    if (!json_array_size(still) && !json_array_size(drifted))
        return;
    view_section(v, "Values to look at");
    json_array_foreach(still, i, one)
    {
        view_textf(v, VIEW_PLAIN, 2, 2, "line %s, %s stands still: %s, %lld times since %s",
                   plant_level_of(one, "line", name), pick_text(one, "quantity", "?"),
                   view_rough(pick_number(one, "value", 0), n[0]),
                   (long long)pick_int(one, "times", 0),
                   view_when(pick_text(one, "since", "?"), when));
    }
    json_array_foreach(drifted, i, one)
    {
        view_textf(v, VIEW_PLAIN, 2, 2, "line %s, %s drifted: %s in the last week, usual %s",
                   plant_level_of(one, "line", name), pick_text(one, "quantity", "?"),
                   view_rough(pick_number(one, "now", 0), n[0]),
                   view_rough(pick_number(one, "usual", 0), n[1]));
    }
}

/* What is told of each record, then those of which too few cases tell. */
static void show_tells(const struct view *v, const json_t *tells)
{
    size_t i, shown = 0, few = 0;
    const json_t *one;
    json_array_foreach(tells, i, one)
    {
        if (!pick_bool(one, "too_few", false) && shown++ < TELLS_SHOWN)
            view_textf(v, VIEW_PLAIN, 2, 2, "- %s", pick_text(one, "says", ""));
    }
    json_array_foreach(tells, i, one)
    {
        const char *says = pick_text(one, "says", "");
        if (!pick_bool(one, "too_few", false))
            continue;
        if (few == 0)
            view_text(v, VIEW_PLAIN, 2, 2, "Of too few cases to tell what they would say:");
        if (few++ < TELLS_SHOWN)
            view_textf(v, VIEW_PLAIN, 2, 2, "- %.*s", (int)strcspn(says, ":"), says);
    }
    if (few > TELLS_SHOWN)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has all", few - TELLS_SHOWN);
}

void gaps_show(const struct view *v, const json_t *document)
{
    const char *plant = pick_text(document, "plant", "");
    view_title(v, "Records of lots%s%s packed %s to %s", *plant ? " of " : "", plant,
               pick_text(document, "from", "?"), pick_text(document, "to", "?"));
    view_section(v, "What more records would tell");
    view_textf(v, VIEW_PLAIN, 2, 2, "From %lld cases of %.1f months whose lot is known:",
               (long long)pick_int(document, "cases", 0), pick_number(document, "months", 0));
    show_tells(v, json_object_get(document, "tells"));
    show_records(v, json_object_get(document, "records"));
    show_late(v, json_object_get(document, "late"));
    show_values(v, json_object_get(document, "still"), json_object_get(document, "drifted"));
}
