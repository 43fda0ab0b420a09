/* What rose, causes, what is still to come, how right the rankings were: as tables. */
#include "base/plant_level.h"
#include "base/when.h"
#include "rules/vocabulary.h"
#include "show/page.h"
#include "show/told_view.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SIGNALS_MOST = 15, CAUSES_MOST = 24, TRACE_DAYS = 28 };

/* Fewer complaints than that, spread over causes, are noise. */
#define EXPECTED_LEAST 0.05

/* ---- signals ---- */

static void add_q(struct text_buffer *b, double q)
{
    text_append(b, "<td class=\"n\">");
    if (q < 0.001)
        text_append(b, "&lt; 0.001");
    else
        text_appendf(b, "%.3f", q);
    text_append(b, "</td>");
}

/* ", still up", ", easing" */
static void add_course(struct text_buffer *b, const json_t *risen)
{
    const char *course = page_text(risen, "course");
    if (strcmp(course, "up") == 0)
        text_append(b, ", <strong class=\"up\">still up</strong></span></td>");
    else
        text_appendf(b, ", %s</span></td>", course);
}

/* "Line 2" and "mold, still up since W44" */
static void add_signal(struct text_buffer *b, const json_t *s)
{
    bool titled = *page_text(s, "title") != '\0';
    text_append(b, "<tr><td>");
    if (!titled) {
        page_add_name(b, page_text(s, "factor"));
        text_append(b, " ");
    }
    char name[PLANT_LEVEL];
    text_append_html(b, titled ? page_text(s, "title") : plant_level_of(s, "level", name));
    text_append(b, " <span class=\"kind\">");
    page_add_text(b, s, "symptom");
    add_course(b, s);
    const char *since = page_text(s, "since");
    page_cell_text(b, "w", since + (strlen(since) > 5 ? 5 : 0));
    page_cell_about(b, "n", page_number(s, "observed"));
    page_cell_number(b, "n", page_number(s, "expected"));
    page_cell_number(b, "n wide", page_number(s, "ratio"));
    page_cell_range(b, "n wide", page_number(s, "low"), page_number(s, "high"));
    add_q(b, page_number(s, "q"));
    text_append(b, "</tr>");
}

static void add_plant(struct text_buffer *b, const char *plant)
{
    struct text_buffer word = {0};
    if (!*plant)
        return;
    text_append_word(&word, plant);
    text_append(b, " --plant ");
    text_append_html(b, word.data);
    text_buffer_free(&word);
}

/* What to ask next: what the lots behind the surest signal share. */
static void add_trace(struct text_buffer *b, const json_t *report, const json_t *signal)
{
    struct iso_week week;
    char from[16], to[16];
    if (iso_week_parse(page_text(report, "week"), &week, NULL) != 0)
        return;
    int32_t last = iso_week_monday(week) + 6;
    text_append(b, "<p>What do the lots behind it share? <code>oddloaf trace --symptom ");
    page_add_text(b, signal, "symptom");
    text_appendf(b, " --from %s --to %s", day_format(last - TRACE_DAYS + 1, from),
                 day_format(last, to));
    add_plant(b, page_text(report, "plant"));
    text_append(b, "</code></p>");
    text_append(b, "<p>Did a fix work? <code>oddloaf action --list</code>, then <code>oddloaf "
                   "action NUMBER --effect</code></p>");
}

static void add_level(struct text_buffer *b, const json_t *level)
{
    bool titled = *page_text(level, "title") != '\0';
    if (!titled) {
        page_add_name(b, page_text(level, "factor"));
        text_append(b, "&nbsp;");
    }
    char name[PLANT_LEVEL];
    text_append_html(b, titled ? page_text(level, "title") : plant_level_of(level, "level", name));
}

static void add_story(struct text_buffer *b, const json_t *story)
{
    const json_t *beneath = json_object_get(story, "beneath");
    size_t i;
    const json_t *level;
    text_append(b, "<tr><td class=\"what\">");
    add_level(b, json_object_get(story, "led_by"));
    text_append(b, " <span class=\"kind\">");
    page_add_text(b, story, "symptom");
    add_course(b, story);
    const char *since = page_text(story, "since");
    page_cell_text(b, "w", since + (strlen(since) > 5 ? 5 : 0));
    page_cell_number(b, "n", round(page_number(story, "observed")));
    page_cell_number(b, "n", round(page_number(story, "expected")));
    text_append(b, "<td>");
    json_array_foreach(beneath, i, level)
    {
        text_append(b, i ? ", " : "");
        add_level(b, level);
    }
    text_append(b, i ? "</td></tr>" : "–</td></tr>");
}

void page_stories(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {{"what", ""},   {"since", ""},   {"count", "n"},
                                                 {"usual", "n"}, {"also in", ""}, {NULL, NULL}};
    const json_t *stories = json_object_get(report, "stories"), *story;
    size_t i;
    text_append(b, "<h2>What rose</h2>");
    if (!json_array_size(stories) &&
        page_number(json_object_get(report, "tested"), "recent_weeks") == 0)
        text_append(b, "<p>Too early to tell: there are not yet six weeks of production to compare "
                       "with.</p>");
    else if (!json_array_size(stories))
        text_append(b, "<p>Nothing: what was seen fits chance.</p>");
    if (!json_array_size(stories))
        return;
    page_open_table(b, COLUMNS);
    json_array_foreach(stories, i, story) add_story(b, story);
    page_close_table(b);
    add_trace(b, report, json_array_get(stories, 0));
}

void page_signals(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {
        {"what", ""},   {"since", ""},       {"seen", "n"},
        {"usual", "n"}, {"times", "n wide"}, {"95&nbsp;% interval", "n wide"},
        {"q", "n"},     {NULL, NULL}};
    const json_t *signals = json_object_get(report, "signals"), *signal;
    const json_t *tested = json_object_get(report, "tested");
    size_t i, n = json_array_size(signals);
    text_append(b, "<h2>What rose, in figures</h2>");
    if (n) {
        page_open_table(b, COLUMNS);
        json_array_foreach(signals, i, signal)
        {
            if (i < SIGNALS_MOST)
                add_signal(b, signal);
        }
        page_close_table(b);
        if (n > SIGNALS_MOST)
            text_appendf(b, "<p class=\"soft small\">%zu further, less sure.</p>",
                         n - SIGNALS_MOST);
    }
    text_appendf(b,
                 "<p class=\"soft small\">%.0f series were looked at. Of those listed with q up to "
                 "a number, no more than that share is expected to be chance. Times: seen over "
                 "usual, drawn a little towards 1.</p>\n",
                 page_number(tested, "series"));
}

/* ---- causes ---- */

static void add_share(struct text_buffer *b, double share)
{
    text_appendf(b, "<td class=\"n\">%.0f&nbsp;%%</td>", 100 * share);
}

void page_causes(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {
        {"cause", ""},  {"count", "n"},   {"<span class=\"hidden\">bar</span>", "wide"},
        {"share", "n"}, {"running", "n"}, {NULL, NULL}};
    const json_t *causes = json_object_get(report, "causes"), *cause;
    double most = 0;
    size_t i, shown = 0;
    json_array_foreach(causes, i, cause) most = fmax(most, page_number(cause, "expected"));
    text_append(b, "<h2>Causes</h2>");
    if (most < EXPECTED_LEAST) {
        text_append(b, "<p>No complaint of this week has been ranked.</p>");
        return;
    }
    page_open_table(b, COLUMNS);
    json_array_foreach(causes, i, cause)
    {
        double expected = page_number(cause, "expected");
        if (expected < EXPECTED_LEAST || page_number(cause, "share") < 0.01 ||
            shown++ == CAUSES_MOST)
            continue;
        text_append(b, "<tr>");
        page_cell_what(b, page_text(cause, "title"), page_text(cause, "symptom"));
        text_appendf(b, "<td class=\"n\">%.1f</td><td class=\"wide\">", expected);
        page_bar(b, expected / most);
        text_append(b, "</td>");
        add_share(b, page_number(cause, "share"));
        add_share(b, page_number(cause, "cumulative"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
    text_append(b, "<p class=\"soft small\">Expected complaints: the probabilities of the rankings "
                   "added up; settled cases count for what was confirmed. Shares are of the "
                   "symptom's complaints.</p>\n");
    size_t harm = told_view_harm_reports(report);
    if (harm)
        text_appendf(b, "<p><b>" TOLD_VIEW_HARM_AMONG "</b></p>\n", harm);
}

/* ---- what is to come ---- */

/* As the terminal and the mail have it: of a week of which all have come nothing is foretold. */
static bool is_to_come(const json_t *row)
{
    return page_number(row, "expected_final") - page_number(row, "reported") >= 0.5;
}

static bool any_to_come(const json_t *rows)
{
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (is_to_come(row))
            return true;
    }
    return false;
}

void page_to_come(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {
        {"packed in", ""},           {"so far", "n"},        {"in the end", "n"},
        {"90&nbsp;% interval", "n"}, {"share in", "n wide"}, {NULL, NULL}};
    const json_t *rows = json_object_get(report, "to_come"), *row;
    bool early = false;
    size_t i;
    text_append(b, "<h2>Still to come</h2>");
    if (!any_to_come(rows)) {
        text_append(b, "<p>Nothing to be told: all is in, or there is no past to judge by.</p>");
        return;
    }
    page_open_table(b, COLUMNS);
    json_array_foreach(rows, i, row)
    {
        if (!is_to_come(row))
            continue;
        text_append(b, "<tr>");
        page_cell_what(b, page_text(row, "made_week"), page_text(row, "symptom"));
        page_cell_number(b, "n", page_number(row, "reported"));
        page_cell_number(b, "n", round(page_number(row, "expected_final")));
        page_cell_range(b, "n", page_number(row, "low"), page_number(row, "high"));
        text_appendf(b, "<td class=\"n wide\">%.0f&nbsp;%%%s</td></tr>",
                     100 * page_number(row, "share"), page_true(row, "too_early") ? ", early" : "");
        early |= page_true(row, "too_early");
    }
    page_close_table(b);
    text_appendf(
        b, "<p class=\"soft small\">Complaints about bread that is already packed.%s</p>\n",
        early ? " Early: fewer than a fifth should be in; read the interval, not the number." : "");
}

/* ---- how right ---- */

/* "57 (25 to 84)" */
static void add_share_cell(struct text_buffer *b, const json_t *right, const char *name,
                           const char *range)
{
    const json_t *limits = json_object_get(right, range);
    struct text_buffer cell = {0};
    if (!limits) {
        page_cell_number(b, "n", round(100 * page_number(right, name)));
        return;
    }
    text_appendf(&cell, "%.0f (%.0f to %.0f)", 100 * page_number(right, name),
                 100 * page_number(limits, "low"), 100 * page_number(limits, "high"));
    page_cell_text(b, "n", cell.data);
    text_buffer_free(&cell);
}

static void add_verdicts(struct text_buffer *b, const char *when, const json_t *right)
{
    text_append(b, "<tr>");
    page_cell_text(b, "", when);
    page_cell_number(b, "n", page_number(right, "verdicts"));
    add_share_cell(b, right, "top1", "top1_range");
    add_share_cell(b, right, "top3", "top3_range");
    page_cell_number(b, "n wide", round(100 * exp(-page_number(right, "log_score"))));
    page_cell_number(b, "n wide", page_number(right, "brier"));
    page_cell_number(b, "n", page_number(json_object_get(right, "days_to_verdict"), "median"));
    text_append(b, "</tr>");
}

/* Of a week that is over, the cases are still those of the day it is looked at. */
static void add_open(struct text_buffer *b, const json_t *report)
{
    const json_t *open = json_object_get(report, "open_cases");
    struct page_column columns[SYMPTOMS + 4] = {
        {"opened", ""}, [SYMPTOMS + 1] = {"other", "n"}, [SYMPTOMS + 2] = {"all", "n"}};
    size_t i;
    const json_t *row;
    text_append(b, "<h3>Open cases by age");
    if (page_true(report, "over"))
        text_appendf(b, ", as of %.10s", page_text(report, "as_of"));
    text_append(b, "</h3>");
    for (int s = 0; s < SYMPTOMS; s++)
        columns[s + 1] = (struct page_column){symptom_name(s), "n"};
    page_open_table(b, columns);
    json_array_foreach(open, i, row)
    {
        text_append(b, "<tr>");
        page_cell_text(b, "", page_text(row, "age"));
        for (int s = 0; s < SYMPTOMS; s++)
            page_cell_number(b, "n", page_number(row, symptom_name(s)));
        page_cell_number(b, "n", page_number(row, "other"));
        page_cell_number(b, "n", page_number(row, "cases"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
}

/* A past week is scored by what was given until then, however many there are by now. */
static void add_no_verdicts(struct text_buffer *b, const json_t *report)
{
    struct iso_week week;
    char to[16];
    text_append(b, "<p>No case was settled in the 13 weeks up to ");
    if (page_true(report, "over") && iso_week_parse(page_text(report, "week"), &week, NULL) == 0)
        text_append(b, day_format(iso_week_monday(week) + 6, to));
    else
        text_appendf(b, "%.10s", page_text(report, "as_of"));
    text_append(b,
                ", so nothing can be scored here: <code>oddloaf settle CASE CAUSE</code> records "
                "what was confirmed, and a verdict counts in the week it is given.</p>");
}

static void add_stages(struct text_buffer *b, const json_t *stages)
{
    static const struct page_column COLUMNS[] = {
        {"stage", ""},         {"from what to what", "wide"}, {"done", "n"},
        {"days, median", "n"}, {"nine in ten", "n"},          {"now in it", "n"},
        {NULL, NULL}};
    size_t i;
    const json_t *row;
    if (!json_array_size(stages))
        return;
    text_append(b, "<h3>Time in each stage, 13 weeks</h3>");
    page_open_table(b, COLUMNS);
    json_array_foreach(stages, i, row)
    {
        text_append(b, "<tr>");
        page_cell_text(b, "", page_text(row, "stage"));
        page_cell_text(b, "wide", page_text(row, "what"));
        page_cell_number(b, "n", page_number(row, "n"));
        page_cell_number(b, "n", page_number(row, "median_days"));
        page_cell_number(b, "n", page_number(row, "most_days"));
        page_cell_number(b, "n", page_number(row, "waiting"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
}

static void add_overdue(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {{"case", ""},  {"severity", ""}, {"due", ""},
                                                 {"days", "n"}, {"owner", ""},    {"symptom", ""},
                                                 {"lot", ""},   {NULL, NULL}};
    const json_t *list = json_object_get(report, "overdue"), *row;
    size_t i;
    if (!json_array_size(list))
        return;
    text_appendf(b, "<h3>Past their day: %.0f, as of %.10s</h3>",
                 page_number(report, "overdue_count"), page_text(report, "as_of"));
    page_open_table(b, COLUMNS);
    json_array_foreach(list, i, row)
    {
        const char *owner = page_text(row, "owner"), *lot = page_text(row, "lot");
        text_append(b, "<tr>");
        page_cell_text(b, "", page_text(row, "case"));
        page_cell_text(b, "", page_true(row, "harm") ? "urgent, HARM" : page_text(row, "severity"));
        page_cell_text(b, "", page_text(row, "due"));
        page_cell_number(b, "n", page_number(row, "days"));
        page_cell_text(b, "", *owner ? owner : "nobody");
        page_cell_text(b, "", page_text(row, "symptom"));
        page_cell_text(b, "", *lot ? lot : "not certain");
        text_append(b, "</tr>");
    }
    page_close_table(b);
}

void page_right(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {{"verdicts of", ""},
                                                 {"given", "n"},
                                                 {"first was it, %", "n"},
                                                 {"among three, %", "n"},
                                                 {"true cause was given, %", "n wide"},
                                                 {"squared miss, 0 is best", "n wide"},
                                                 {"days, median", "n"},
                                                 {NULL, NULL}};
    const json_t *right = json_object_get(report, "right");
    const json_t *quarter = json_object_get(right, "quarter");
    text_append(b, "<h2>How right we were</h2>");
    if (page_number(quarter, "verdicts") > 0) {
        page_open_table(b, COLUMNS);
        add_verdicts(b, "this week", json_object_get(right, "week"));
        add_verdicts(b, "13 weeks", quarter);
        page_close_table(b);
    } else {
        add_no_verdicts(b, report);
    }
    add_open(b, report);
    add_overdue(b, report);
    add_stages(b, json_object_get(report, "stages"));
}
