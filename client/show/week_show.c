#include "show/week_show.h"
#include "base/cuts.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/when.h"
#include "show/pick.h"
#include "show/table.h"
#include <math.h>
#include <string.h>

#define SIGNALS_SHOWN 8
#define TREND 26 /* half a year of weeks */
#define TRACE_DAYS 28

/* ---- head ---- */

static void show_head(const struct view *v, const json_t *document)
{
    const char *week = pick_text(document, "week", "?");
    struct iso_week w;
    char from[16];
    char to[16];
    const char *plant = pick_text(document, "plant", "");
    const char *of = *plant ? " of " : "";
    if (iso_week_parse(week, &w, NULL) == 0) {
        int32_t monday = iso_week_monday(w);
        view_title(v, "Week %s%s%s, %s to %s", week, of, plant, day_format(monday, from),
                   day_format(monday + 6, to));
    } else {
        view_title(v, "Week %s%s%s", week, of, plant);
    }
}

/* Harm stands first: what came since in a sentence of its own, then what the week has. */
static void show_headline(const struct view *v, const json_t *document)
{
    const json_t *headline = json_object_get(document, "headline");
    bool within = json_array_size(json_object_get(document, "harm")) ||
                  json_array_size(json_object_get(document, "harm_possible"));
    size_t i, harm = within;
    const json_t *line;
    harm += json_array_size(json_object_get(document, "harm_since")) > 0;
    json_array_foreach(headline, i, line) view_text(v,
                                                    i < harm ? VIEW_HARM
                                                    : i      ? VIEW_PLAIN
                                                             : VIEW_BOLD,
                                                    0, 2, json_string_value(line));
    if (i)
        view_blank(v);
}

/* ---- what came in ---- */

static void add_weeks(struct table *t, const struct view *v, const json_t *weeks)
{
    double values[TREND];
    size_t count = json_array_size(weeks), first = count > TREND ? count - TREND : 0;
    char spark[VIEW_BAR];
    for (size_t i = first; i < count; i++)
        values[i - first] = pick_number(json_array_get(weeks, i), "per_million", NAN);
    table_add(t, count ? view_spark(v, values, count - first, spark) : "");
}

static void show_counts(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {{"complaints", COLUMN_LEFT, 0},
                                            {"count", COLUMN_RIGHT, 0},
                                            {"usual", COLUMN_RIGHT, 0},
                                            {"weeks", COLUMN_LEFT, 0},
                                            {"", COLUMN_LEFT, 12}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    const json_t *standing = json_object_get(document, "standing");
    const char *symptom;
    json_t *count;
    json_object_foreach(json_object_get(document, "complaints"), symptom, count)
    {
        const json_t *chart = json_object_get(json_object_get(document, "charts"), symptom);
        const json_t *weeks = json_object_get(chart, "weeks");
        size_t n = json_array_size(weeks);
        const json_t *week = n ? json_array_get(weeks, n - 1) : NULL;
        char number[VIEW_NUMBER];
        table_add(t, symptom);
        table_add(t, view_number(json_number_value(count), number));
        table_add(t, pick_has(week, "expected")
                         ? view_rough(pick_number(week, "expected", 0), number)
                         : "");
        add_weeks(t, v, weeks);
        table_add(t, pick_text(json_object_get(standing, symptom), "says", ""));
    }
    table_print(t, v, 2);
    table_free(t);
    week_show_other(v, document);
    view_blank(v);
}

static void show_units(const struct view *v, const json_t *document)
{
    char number[VIEW_NUMBER];
    if (pick_has(document, "units"))
        view_label(v, "units packed", "%s", view_number(pick_number(document, "units", 0), number));
}

/* Of a week that is over, the cases are still those of the day it is looked at. */
static void show_open(const struct view *v, const json_t *document)
{
    const json_t *open_cases = json_object_get(document, "open_cases");
    size_t i;
    const json_t *row;
    struct text_buffer line = {0};
    json_array_foreach(open_cases, i, row)
    {
        char number[VIEW_NUMBER];
        text_appendf(&line, "%s%s" VIEW_NBSP "(%s)", i ? ", " : "",
                     view_number(pick_number(row, "cases", 0), number), pick_text(row, "age", "?"));
    }
    if (line.length && pick_bool(document, "over", false))
        text_appendf(&line, " as of %.10s", pick_text(document, "as_of", "?"));
    if (line.length)
        view_label(v, "open cases", "%s", line.data);
    text_buffer_free(&line);
}

static void show_right(const struct view *v, const json_t *right)
{
    const json_t *quarter = json_object_get(right, "quarter");
    char n[4][VIEW_NUMBER];
    double given = pick_number(quarter, "verdicts", 0);
    if (given < 1 || !pick_has(quarter, "top1"))
        return;
    const json_t *range = json_object_get(quarter, "top1_range");
    char limits[48] = "";
    if (json_is_object(range))
        snprintf(limits, sizeof limits, " (%.0f to %.0f" VIEW_NBSP "%%)",
                 100 * pick_number(range, "low", 0), 100 * pick_number(range, "high", 1));
    view_label(
        v, "verdicts",
        "%s in 13 weeks; ranked first %s%s, among three %s; %s days from first complaint "
        "to verdict (median)",
        view_number(given, n[0]), view_percent(pick_number(quarter, "top1", 0), n[1]), limits,
        view_percent(pick_number(quarter, "top3", 0), n[2]),
        view_rough(pick_number(json_object_get(quarter, "days_to_verdict"), "median", 0), n[3]));
}

/* "taken in 0.4, settled 5.2": of the 13 weeks up to its end, and what waits now. */
static void show_stages(const struct view *v, const json_t *stages)
{
    struct text_buffer line = {0};
    size_t i;
    const json_t *row;
    json_array_foreach(stages, i, row)
    {
        char n[VIEW_NUMBER];
        if (pick_int(row, "n", 0) > 0)
            text_appendf(&line, "%s%s" VIEW_NBSP "%s", line.length ? ", " : "",
                         strcmp(pick_text(row, "stage", "?"), "taken-in") == 0
                             ? "taken" VIEW_NBSP "in"
                             : pick_text(row, "stage", "?"),
                         view_rough(pick_number(row, "median_days", 0), n));
    }
    if (line.length)
        view_label(v, "days until", "%s (median of 13 weeks; oddloaf scores has more)", line.data);
    text_buffer_free(&line);
}

static const struct column OVERDUE[] = {{"case", COLUMN_LEFT, 0},  {"severity", COLUMN_LEFT, 0},
                                        {"due", COLUMN_LEFT, 0},   {"days", COLUMN_RIGHT, 0},
                                        {"owner", COLUMN_LEFT, 6}, {"symptom", COLUMN_LEFT, 0},
                                        {"lot", COLUMN_LEFT, 10}};

static void show_overdue(const struct view *v, const json_t *document)
{
    enum { SHOWN = 10 };
    const json_t *list = json_object_get(document, "overdue"), *item;
    int64_t all = pick_int(document, "overdue_count", 0);
    struct table *t = table_new(OVERDUE, sizeof OVERDUE / sizeof *OVERDUE);
    size_t i;
    json_array_foreach(list, i, item)
    {
        char n[VIEW_NUMBER];
        if (i == SHOWN)
            break;
        table_add(t, pick_text(item, "case", "?"));
        table_addf(t, "%s%s", pick_text(item, "severity", "?"),
                   pick_bool(item, "harm", false) ? " HARM" : "");
        table_add(t, pick_text(item, "due", ""));
        table_add(t, view_number(pick_number(item, "days", 0), n));
        table_add(t, pick_text(item, "owner", "nobody"));
        table_add(t, pick_text(item, "symptom", ""));
        table_add(t, pick_text(item, "lot", "not certain"));
    }
    if (table_rows(t) > 0) {
        view_section(v, "Past their day");
        table_print(t, v, 2);
    }
    if (all > (int64_t)i)
        view_textf(v, VIEW_PLAIN, 2, 2, "%lld in all: oddloaf cases --overdue --order urgent",
                   (long long)all);
    table_free(t);
}

/* ---- what rose: stories, and the signals they are made of ---- */

static void add_level(struct text_buffer *b, const json_t *level)
{
    const char *factor = pick_text(level, "factor", "?");
    const struct cut *cut = cuts_find(factor);
    bool says = cut && cut->source == CUT_CAUSE;
    char name[PLANT_LEVEL];
    plant_level_of(level, "level", name);
    text_appendf(b, "%s%s%s%s", b->length ? ", " : "", says ? "" : factor, says ? "" : VIEW_NBSP,
                 says ? pick_text(level, "title", name) : name);
}

/* "W44", "W44, easing", "W40, over" */
static void add_since(struct table *t, const json_t *risen)
{
    const char *since = pick_text(risen, "since", "");
    const char *course =
        pick_text(risen, "course", pick_bool(risen, "still", true) ? "up" : "easing");
    bool up = strcmp(course, "up") == 0;
    table_addf(t, "%s%s%s", strlen(since) > 5 ? since + 5 : since, up ? "" : "," VIEW_NBSP,
               up ? "" : course);
}

static void add_story(struct table *t, const json_t *story)
{
    struct text_buffer led = {0};
    struct text_buffer beneath = {0};
    char n[VIEW_NUMBER];
    size_t i;
    const json_t *level;
    add_level(&led, json_object_get(story, "led_by"));
    json_array_foreach(json_object_get(story, "beneath"), i, level) add_level(&beneath, level);
    table_add(t, led.data ? led.data : "");
    table_add(t, pick_text(story, "symptom", ""));
    add_since(t, story);
    table_add(t, view_number(round(pick_number(story, "observed", 0)), n));
    table_add(t, view_number(round(pick_number(story, "expected", 0)), n));
    table_add(t, beneath.data ? beneath.data : "");
    text_buffer_free(&led);
    text_buffer_free(&beneath);
}

static void show_stories(const struct view *v, const json_t *stories)
{
    static const struct column columns[] = {
        {"what rose", COLUMN_LEFT, 12}, {"symptom", COLUMN_LEFT, 0}, {"since", COLUMN_LEFT, 8},
        {"count", COLUMN_RIGHT, 0},     {"usual", COLUMN_RIGHT, 0},  {"also in", COLUMN_LEFT, 16}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *story;
    json_array_foreach(stories, i, story) add_story(t, story);
    if (table_rows(t) > 0) {
        view_blank(v);
        table_print(t, v, 2);
    }
    table_free(t);
}

static void add_signal(struct table *t, const json_t *s)
{
    char n[3][VIEW_NUMBER];
    double q = pick_number(s, "q", 1);
    const char *factor = pick_text(s, "factor", "?");
    const struct cut *cut = cuts_find(factor);
    bool says = cut && cut->source == CUT_CAUSE; /* its name says what it is */
    char level[PLANT_LEVEL];
    table_addf(t, "%s%s%s", says ? "" : factor, says ? "" : " ", plant_level_of(s, "level", level));
    table_add(t, pick_text(s, "symptom", ""));
    add_since(t, s);
    table_add(t, view_about(pick_number(s, "observed", 0), n[0]));
    table_add(t, view_rough(pick_number(s, "expected", 0), n[0]));
    if (pick_has(s, "ratio"))
        table_addf(t, "%s" VIEW_NBSP "(%s" VIEW_NBSP "to" VIEW_NBSP "%s)",
                   view_rough(pick_number(s, "ratio", 0), n[0]),
                   view_rough(pick_number(s, "low", 0), n[1]),
                   view_rough(pick_number(s, "high", 0), n[2]));
    else
        table_add(t, "");
    table_add(t, q < 0.001 ? "<0.001" : view_small(q, n[0]));
}

/* What the lots behind the surest signal share is the next question. */
static void show_next(const struct view *v, const json_t *document, const json_t *signal)
{
    struct iso_week week;
    char from[16];
    char to[16];
    if (iso_week_parse(pick_text(document, "week", ""), &week, NULL) != 0)
        return;
    int32_t last = iso_week_monday(week) + 6;
    struct text_buffer plant = {0};
    if (pick_has(document, "plant")) {
        text_append(&plant, " --plant ");
        text_append_word(&plant, pick_text(document, "plant", ""));
    }
    view_textf(v, VIEW_PLAIN, 2, 4,
               "What they share: oddloaf trace --symptom %s --from %s --to %s%s",
               pick_text(signal, "symptom", "mold"), day_format(last - TRACE_DAYS + 1, from),
               day_format(last, to), plant.length ? plant.data : "");
    text_buffer_free(&plant);
}

static void show_signals(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {
        {"what", COLUMN_LEFT, 12}, {"symptom", COLUMN_LEFT, 0}, {"since", COLUMN_LEFT, 8},
        {"seen", COLUMN_RIGHT, 0}, {"usual", COLUMN_RIGHT, 0},  {"times (95 %)", COLUMN_LEFT, 0},
        {"q", COLUMN_RIGHT, 0}};
    const json_t *signals = json_object_get(document, "signals");
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t count = json_array_size(signals);
    view_section(v, "What rose, in figures: the surest first");
    if (pick_number(json_object_get(document, "tested"), "recent_weeks", 1) < 1)
        view_text(v, VIEW_PLAIN, 2, 0,
                  "Too early to tell: there are not yet six weeks of production to compare with.");
    else if (count == 0)
        view_text(v, VIEW_PLAIN, 2, 0, "Nothing: what was seen fits chance.");
    for (size_t i = 0; i < count && i < SIGNALS_SHOWN; i++)
        add_signal(t, json_array_get(signals, i));
    if (count > 0) {
        table_print(t, v, 2);
        if (count > SIGNALS_SHOWN)
            view_textf(v, VIEW_DIM, 2, 2, "%zu further; --json has all", count - SIGNALS_SHOWN);
        show_next(v, document, json_array_get(signals, 0));
    }
    table_free(t);
}

/* ---- causes, and what is still to come ---- */

static void show_to_come(const struct view *v, const json_t *list)
{
    static const struct column columns[] = {
        {"made in", COLUMN_LEFT, 0},       {"symptom", COLUMN_LEFT, 0},
        {"so far", COLUMN_RIGHT, 0},       {"in the end", COLUMN_RIGHT, 0},
        {"90 % interval", COLUMN_LEFT, 0}, {"share in", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *row;
    bool early = false;
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
        bool is_early = pick_bool(row, "too_early", false);
        table_addf(t, "%s%s", view_percent(pick_number(row, "share", 0), n[0]),
                   is_early ? ", early" : "");
        early |= is_early;
    }
    if (table_rows(t) > 0) {
        view_section(v, "Complaints still to come about bread already made");
        table_print(t, v, 2);
    }
    if (early) {
        view_text(v, VIEW_DIM, 2, 0,
                  "Early: fewer than a fifth should be in; read the interval, not the number.");
    }
    table_free(t);
}

void week_show(const struct view *v, const json_t *document)
{
    bool asked = json_is_array(json_object_get(document, "by_only"));
    show_head(v, document);
    show_headline(v, document);
    show_counts(v, document);
    show_units(v, document);
    week_show_returns(v, json_object_get(document, "returns"));
    show_open(v, document);
    show_right(v, json_object_get(document, "right"));
    show_stages(v, json_object_get(document, "stages"));
    show_stories(v, json_object_get(document, "stories"));
    show_overdue(v, document);
    week_show_against(v, document);
    week_show_rates(v, document);
    if (asked)
        return;
    week_show_causes(v, document);
    show_to_come(v, json_object_get(document, "to_come"));
    if (json_object_get(document, "signals"))
        show_signals(v, document);
}
