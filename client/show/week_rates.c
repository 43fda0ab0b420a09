#include "base/cuts.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "show/pick.h"
#include "show/table.h"
#include "show/week_show.h"
#include <math.h>

#define ROWS_SHOWN 8
#define LEAST_COMPLAINTS 0.5 /* expected counts of causes and places are fractions */
#define TREND 40

static void add_rate(struct table *t, const json_t *rate)
{
    char low[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    bool rated = pick_has(rate, "per_million");
    table_add(t, rated ? view_rough(pick_number(rate, "per_million", 0), low) : "");
    if (pick_has(rate, "low") && pick_has(rate, "high"))
        table_addf(t, "%s" VIEW_NBSP "to" VIEW_NBSP "%s",
                   view_rough(pick_number(rate, "low", 0), low),
                   view_rough(pick_number(rate, "high", 0), high));
    else
        table_add(t, "");
}

/* ---- by week of receipt ---- */

static const struct column received_columns[] = {
    {"level", COLUMN_LEFT, 10}, {"symptom", COLUMN_LEFT, 0},      {"count", COLUMN_RIGHT, 0},
    {"units", COLUMN_RIGHT, 0}, {"per million", COLUMN_RIGHT, 0}, {"95 % interval", COLUMN_LEFT, 0},
    {"weeks", COLUMN_LEFT, 0}};

enum { RECEIVED_COLUMNS = sizeof received_columns / sizeof *received_columns };

static void add_trend(struct table *t, const struct view *v, const json_t *row)
{
    const json_t *trend = json_object_get(row, "trend");
    double values[TREND];
    size_t count = 0;
    char spark[VIEW_BAR];
    size_t i;
    const json_t *item;
    json_array_foreach(trend, i, item)
    {
        if (count < TREND)
            values[count++] = json_is_number(item) ? json_number_value(item) : NAN;
    }
    table_add(t, count ? view_spark(v, values, count, spark) : "");
}

static void add_received(struct table *t, const struct view *v, const json_t *row)
{
    char number[VIEW_NUMBER];
    char level[PLANT_LEVEL];
    table_add(t, plant_level_of(row, "level", level));
    table_add(t, pick_text(row, "symptom", ""));
    table_add(t, view_about(pick_number(row, "complaints", 0), number));
    table_add(t, pick_has(row, "units") ? view_number(pick_number(row, "units", 0), number) : "");
    add_rate(t, row);
    if (pick_has(row, "trend"))
        add_trend(t, v, row);
}

#define MISLEADS 2.0 /* times more or less packed than was on sale */

/* A rate over what was packed says nothing of a week in which hardly anything was. */
static void show_on_sale(const struct view *v, const json_t *rows)
{
    struct text_buffer b = {0};
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char n[VIEW_NUMBER];
        char level[PLANT_LEVEL];
        double units = pick_number(row, "units", 0), sale = pick_number(row, "on_sale", 0);
        bool misleads = units * MISLEADS < sale || units > sale * MISLEADS;
        if (pick_number(row, "complaints", 0) < 1 || !misleads ||
            !pick_has(row, "per_million_on_sale"))
            continue;
        text_appendf(&b, "%s%s" VIEW_NBSP "%s" VIEW_NBSP "%s", b.length ? ", " : "",
                     plant_level_of(row, "level", level), pick_text(row, "symptom", ""),
                     view_rough(pick_number(row, "per_million_on_sale", 0), n));
    }
    if (b.length)
        view_textf(v, VIEW_PLAIN, 2, 2,
                   "Packed this week far from what was on sale; per million on sale: %s", b.data);
    text_buffer_free(&b);
}

/* "Target per million: 2 mold 30, not met; 1 mold 30, too few to say" */
static void show_targets(const struct view *v, const json_t *rows)
{
    struct text_buffer b = {0};
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char n[VIEW_NUMBER];
        char level[PLANT_LEVEL];
        if (pick_has(row, "target"))
            text_appendf(&b, "%s%s" VIEW_NBSP "%s" VIEW_NBSP "%s, %s", b.length ? "; " : "",
                         plant_level_of(row, "level", level), pick_text(row, "symptom", ""),
                         view_rough(pick_number(row, "target", 0), n),
                         pick_text(row, "target_met", "?"));
    }
    if (b.length)
        view_textf(v, VIEW_PLAIN, 2, 2, "Targets per million: %s", b.data);
    text_buffer_free(&b);
}

/* Why the rows come to less than the week. */
static void show_unplaced(const struct view *v, const char *factor, const json_t *unplaced)
{
    struct text_buffer b = {0};
    const char *symptom;
    json_t *count;
    json_object_foreach(json_object_get(unplaced, factor), symptom, count)
    {
        char n[VIEW_NUMBER];
        text_appendf(&b, "%s%s" VIEW_NBSP "%s", b.length ? ", " : "", symptom,
                     view_number(json_number_value(count), n));
    }
    if (b.length)
        view_textf(v, VIEW_PLAIN, 2, 2, "In no row, since the %s is not known: %s", factor, b.data);
    text_buffer_free(&b);
}

/* The rows with the most complaints; the rest is counted, since a line without any is good news,
 * not news. */
static void show_received(const struct view *v, const char *factor, const json_t *rows, bool asked)
{
    bool weeks = pick_has(json_array_get(rows, 0), "trend"); /* the last column */
    struct table *t = table_new(received_columns, RECEIVED_COLUMNS - !weeks);
    struct text_buffer title = {0};
    json_t *sorted = pick_sorted(rows, "complaints");
    size_t i;
    const json_t *row;
    json_array_foreach(sorted, i, row)
    {
        if ((i == ROWS_SHOWN && !asked) || pick_number(row, "complaints", 0) < LEAST_COMPLAINTS)
            break;
        add_received(t, v, row);
    }
    text_appendf(&title, asked ? "By %s: complaints received this week" : "By %s", factor);
    view_section(v, title.data);
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "Next to none.");
    if (table_rows(t) > 0 && i < json_array_size(sorted))
        view_textf(v, VIEW_DIM, 2, 2, "%zu further rows (fewer complaints or none); --json has all",
                   json_array_size(sorted) - i);
    show_on_sale(v, sorted);
    show_targets(v, sorted);
    json_decref(sorted);
    text_buffer_free(&title);
    table_free(t);
}

/* ---- by week of packing ---- */

static const struct column made_columns[] = {
    {"level", COLUMN_LEFT, 10},       {"symptom", COLUMN_LEFT, 0},
    {"so far", COLUMN_RIGHT, 0},      {"in by now", COLUMN_RIGHT, 0},
    {"per million", COLUMN_RIGHT, 0}, {"95 % interval", COLUMN_LEFT, 0}};

static void add_made(struct table *t, const json_t *row)
{
    const json_t *made = json_object_get(row, "made");
    char number[VIEW_NUMBER];
    char level[PLANT_LEVEL];
    table_add(t, plant_level_of(row, "level", level));
    table_add(t, pick_text(row, "symptom", ""));
    table_add(t, view_about(pick_number(made, "complaints", 0), number));
    table_add(t, view_percent(pick_number(made, "share_in", 0), number));
    add_rate(t, made);
}

static void show_made(const struct view *v, const char *factor, const json_t *rows)
{
    struct table *t = table_new(made_columns, sizeof made_columns / sizeof *made_columns);
    struct text_buffer title = {0};
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (pick_number(json_object_get(row, "made"), "complaints", 0) >= LEAST_COMPLAINTS)
            add_made(t, row);
    }
    text_appendf(&title, "By %s: complaints so far about what was packed this week", factor);
    view_section(v, title.data);
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "Next to none yet.");
    table_free(t);
    text_buffer_free(&title);
}

void week_show_rates(const struct view *v, const json_t *document)
{
    bool asked = json_is_array(json_object_get(document, "by_only"));
    const char *factor;
    json_t *rows;
    json_object_foreach(json_object_get(document, "by"), factor, rows)
    {
        const struct cut *cut = cuts_find(factor);
        if (!asked && cut && cut->source == CUT_CAUSE)
            continue; /* they have a table of their own */
        show_received(v, factor, rows, asked);
        show_unplaced(v, factor, json_object_get(document, "unplaced"));
        if (asked)
            show_made(v, factor, rows);
    }
    if (asked)
        view_text(v, VIEW_DIM, 2, 0,
                  "Per million: of what was packed this week. In by now: the share of complaints "
                  "about it that should have come; its rate is over the units whose complaints "
                  "are due, and left out while too few are.");
}
