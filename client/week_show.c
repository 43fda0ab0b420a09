#include "week_show.h"
#include "base/text.h"
#include "base/when.h"
#include "pick.h"
#include "table.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BAR_CELLS 16
#define SIGNALS_SHOWN 8
#define ROWS_SHOWN 8
#define LEAST_COMPLAINTS 0.5 /* expected counts of causes and places are fractions */
#define TREND 40

/* ---- head ---- */

static void show_head(const struct view *v, const json_t *document)
{
    const char *week = pick_text(document, "week", "?");
    struct iso_week w;
    char from[16];
    char to[16];
    if (iso_week_parse(week, &w, NULL) == 0) {
        int32_t monday = iso_week_monday(w);
        view_title(v, "Week %s, %s to %s", week, day_format(monday, from),
                   day_format(monday + 6, to));
    } else {
        view_title(v, "Week %s", week);
    }
}

static void show_counts(const struct view *v, const json_t *document)
{
    char number[VIEW_NUMBER];
    struct text_buffer line = {0};
    const char *symptom;
    json_t *count;
    json_object_foreach(json_object_get(document, "complaints"), symptom, count)
    {
        text_appendf(&line, "%s%s" VIEW_NBSP "%s", line.length ? ", " : "", symptom,
                     view_number(json_is_number(count) ? json_number_value(count) : 0, number));
    }
    view_label(v, "complaints", "%s", line.length ? line.data : "none");
    if (pick_has(document, "units"))
        view_label(v, "units packed", "%s", view_number(pick_number(document, "units", 0), number));
    text_buffer_free(&line);
}

static void show_returns(const struct view *v, const json_t *returns)
{
    char n[4][VIEW_NUMBER];
    double dispatched = pick_number(returns, "dispatched", 0);
    if (dispatched > 0)
        view_label(v, "returned", "%s units of %s dispatched: %s per million",
                   view_number(pick_number(returns, "units", 0), n[0]),
                   view_number(dispatched, n[1]),
                   view_rough(pick_number(returns, "share", 0) * 1e6, n[2]));
}

static void show_open(const struct view *v, const json_t *open_cases)
{
    size_t i;
    const json_t *row;
    struct text_buffer line = {0};
    json_array_foreach(open_cases, i, row)
    {
        char number[VIEW_NUMBER];
        text_appendf(&line, "%s%s" VIEW_NBSP "(%s)", i ? ", " : "",
                     view_number(pick_number(row, "cases", 0), number), pick_text(row, "age", "?"));
    }
    if (line.length)
        view_label(v, "open cases", "%s", line.data);
    text_buffer_free(&line);
}

/* ---- signals ---- */

static void show_signals(const struct view *v, const json_t *signals)
{
    size_t i;
    const json_t *s;
    view_section(v, "Signals, the surest first");
    if (json_array_size(signals) == 0)
        view_text(v, VIEW_PLAIN, 2, 0, "None: what was seen fits chance.");
    json_array_foreach(signals, i, s)
    {
        char n[3][VIEW_NUMBER];
        if (i == SIGNALS_SHOWN)
            break;
        view_textf(v, VIEW_PLAIN, 2, 2, "- %s on %s %s%s%s: %s seen, %s expected (q %s)",
                   pick_text(s, "symptom", "complaints"), pick_text(s, "factor", "?"),
                   pick_text(s, "level", "?"), pick_text(s, "since", NULL) ? ", since " : "",
                   pick_text(s, "since", ""), view_rough(pick_number(s, "observed", 0), n[0]),
                   view_rough(pick_number(s, "expected", 0), n[1]),
                   view_small(pick_number(s, "q", 1), n[2]));
    }
    if (json_array_size(signals) > SIGNALS_SHOWN)
        view_textf(v, VIEW_DIM, 2, 2, "%zu further; --json has all",
                   json_array_size(signals) - SIGNALS_SHOWN);
}

/* ---- rates ---- */

static const struct column rate_columns[] = {
    {"level", COLUMN_LEFT, 10}, {"symptom", COLUMN_LEFT, 0},      {"count", COLUMN_RIGHT, 0},
    {"units", COLUMN_RIGHT, 0}, {"per million", COLUMN_RIGHT, 0}, {"95 % interval", COLUMN_LEFT, 0},
    {"weeks", COLUMN_LEFT, 8}};

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
        const json_t *value = json_is_object(item) ? json_object_get(item, "per_million") : item;
        if (count < TREND)
            values[count++] = json_is_number(value) ? json_number_value(value) : NAN;
    }
    table_add(t, count ? view_spark(v, values, count, spark) : "");
}

static void add_rate(struct table *t, const struct view *v, const json_t *row)
{
    char number[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    bool rated = pick_has(row, "per_million");
    table_add(t, pick_text(row, "level", "?"));
    table_add(t, pick_text(row, "symptom", ""));
    table_add(t, view_rough(pick_number(row, "complaints", 0), number));
    table_add(t, pick_has(row, "units") ? view_number(pick_number(row, "units", 0), number) : "");
    table_add(t, rated ? view_rough(pick_number(row, "per_million", 0), number) : "");
    if (pick_has(row, "low") && pick_has(row, "high"))
        table_addf(t, "%s" VIEW_NBSP "to" VIEW_NBSP "%s",
                   view_rough(pick_number(row, "low", 0), number),
                   view_rough(pick_number(row, "high", 0), high));
    else
        table_add(t, "");
    add_trend(t, v, row);
}

/* The rows with the most complaints; the rest is counted, since a line without any is good news,
 * not news. */
static void show_factor(const struct view *v, const char *factor, const json_t *rows)
{
    struct table *t = table_new(rate_columns, sizeof rate_columns / sizeof *rate_columns);
    struct text_buffer title = {0};
    json_t *sorted = pick_sorted(rows, "complaints");
    size_t i;
    const json_t *row;
    json_array_foreach(sorted, i, row)
    {
        if (i == ROWS_SHOWN || pick_number(row, "complaints", 0) < LEAST_COMPLAINTS)
            break;
        add_rate(t, v, row);
    }
    text_appendf(&title, "By %s", factor);
    view_section(v, title.data);
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "Next to none.");
    if (table_rows(t) > 0 && i < json_array_size(sorted))
        view_textf(v, VIEW_DIM, 2, 2, "%zu further rows (fewer complaints or none); --json has all",
                   json_array_size(sorted) - i);
    json_decref(sorted);
    text_buffer_free(&title);
    table_free(t);
}

/* "line" in "line,route"; everything but the causes (they have a table of their own) if nothing
 * was asked for. */
static bool is_asked(const char *by, const char *factor)
{
    if (!by)
        return strcmp(factor, "cause") != 0;
    size_t length = strlen(factor);
    for (const char *at = by; *at; at += strcspn(at, ",") + (at[strcspn(at, ",")] == ','))
        if (strcspn(at, ",") == length && strncmp(at, factor, length) == 0)
            return true;
    return false;
}

/* ---- causes, and what is still to come ---- */

static void show_causes(const struct view *v, const json_t *causes)
{
    static const struct column columns[] = {{"expected", COLUMN_RIGHT, 0},
                                            {"", COLUMN_LEFT, 0},
                                            {"cause", COLUMN_LEFT, 16},
                                            {"symptom", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, 4);
    json_t *sorted = pick_sorted(causes, "expected");
    double most = pick_number(json_array_get(sorted, 0), "expected", 0);
    size_t i;
    const json_t *cause;
    json_array_foreach(sorted, i, cause)
    {
        char number[VIEW_NUMBER];
        char bar[VIEW_BAR];
        double expected = pick_number(cause, "expected", 0);
        if (i == ROWS_SHOWN || expected < LEAST_COMPLAINTS / 2)
            break;
        table_add(t, view_bits(expected, number) + 1); /* one decimal, without the sign */
        table_add(t, view_bar(v, most > 0 ? expected / most : 0, BAR_CELLS, bar));
        table_add(t, pick_text(cause, "title", pick_text(cause, "cause", "?")));
        table_add(t, pick_text(cause, "symptom", ""));
    }
    if (table_rows(t) > 0) {
        view_section(v, "Causes: complaints expected of each");
        table_print(t, v, 2);
    }
    json_decref(sorted);
    table_free(t);
}

static void show_to_come(const struct view *v, const json_t *list)
{
    static const struct column columns[] = {{"made in", COLUMN_LEFT, 0},
                                            {"symptom", COLUMN_LEFT, 0},
                                            {"so far", COLUMN_RIGHT, 0},
                                            {"in the end", COLUMN_RIGHT, 0},
                                            {"interval", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, 5);
    size_t i;
    const json_t *row;
    json_array_foreach(list, i, row)
    {
        char n[4][VIEW_NUMBER];
        if (pick_number(row, "expected_final", 0) - pick_number(row, "reported", 0) < 0.5)
            continue; /* all have come */
        table_add(t, pick_text(row, "made_week", "?"));
        table_add(t, pick_text(row, "symptom", ""));
        table_add(t, view_number(pick_number(row, "reported", 0), n[0]));
        table_add(t, view_number(round(pick_number(row, "expected_final", 0)), n[1]));
        table_addf(t, "%s" VIEW_NBSP "to" VIEW_NBSP "%s",
                   view_rough(pick_number(row, "low", 0), n[2]),
                   view_rough(pick_number(row, "high", 0), n[3]));
    }
    if (table_rows(t) > 0) {
        view_section(v, "Complaints still to come about bread already made");
        table_print(t, v, 2);
    }
    table_free(t);
}

void week_show(const struct view *v, const json_t *document, const char *by)
{
    const char *factor;
    json_t *rows;
    show_head(v, document);
    show_counts(v, document);
    show_returns(v, json_object_get(document, "returns"));
    show_open(v, json_object_get(document, "open_cases"));
    if (json_object_get(document, "signals"))
        show_signals(v, json_object_get(document, "signals"));
    json_object_foreach(json_object_get(document, "by"), factor, rows)
    {
        if (is_asked(by, factor))
            show_factor(v, factor, rows);
    }
    show_causes(v, json_object_get(document, "causes"));
    show_to_come(v, json_object_get(document, "to_come"));
}
