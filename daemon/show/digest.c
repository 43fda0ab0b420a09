/* Monday's digest: what a manager reads before anything else, and what to look at next. */
#include "base/plant_level.h"
#include "base/text.h"
#include "base/typeset.h"
#include "base/when.h"
#include "show/told_view.h"
#include "show/view.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SIGNALS = 8, ROWS = 8, TRACE_DAYS = 28 };

/* Fewer expected complaints than that are noise in a mail. */
#define EXPECTED_LEAST 0.5

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static double number_of(const json_t *object, const char *name)
{
    return json_number_value(json_object_get(object, name));
}

/* "W47" of "2026-W47": the year goes without saying. */
static const char *short_week(const char *week)
{
    return strlen(week) > 5 ? week + 5 : week;
}

static const char *shown(double x, char out[static TYPESET_NUMBER])
{
    return typeset_rough(x, " ", out);
}

/* ---- head ---- */

static void add_title(struct view *view, const char *name, const char *plant)
{
    struct iso_week week;
    char from[16], to[16];
    const char *of = *plant ? " of " : "";
    if (iso_week_parse(name, &week, NULL) == 0)
        view_add(view, VIEW_TITLE, NULL, 0, "Week %s%s%s, %s to %s", name, of, plant,
                 day_format(iso_week_monday(week), from),
                 day_format(iso_week_monday(week) + 6, to));
    else
        view_add(view, VIEW_TITLE, NULL, 0, "Week %s%s%s", name, of, plant);
}

static void add_symptom(struct view *view, const json_t *week, const char *symptom, double count)
{
    const json_t *weeks =
        json_object_get(json_object_get(json_object_get(week, "charts"), symptom), "weeks");
    const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
    char label[24], n[2][TYPESET_NUMBER];
    snprintf(label, sizeof label, "%s", symptom);
    label[0] = (char)toupper((unsigned char)label[0]);
    if (json_is_number(json_object_get(last, "expected")))
        view_add(view, VIEW_ROW, label, 0, "%s (usual %s)", shown(count, n[0]),
                 shown(number_of(last, "expected"), n[1]));
    else
        view_add(view, VIEW_ROW, label, 0, "%s", shown(count, n[0]));
}

static void add_open(struct view *view, const json_t *open)
{
    double all = 0, oldest = 0;
    size_t i;
    const json_t *row;
    char n[2][TYPESET_NUMBER];
    json_array_foreach(open, i, row)
    {
        all += number_of(row, "cases");
        oldest = number_of(row, "cases"); /* ages ascend */
    }
    view_add(view, VIEW_ROW, "Open cases", 0, "%s, %s of them older than 12 weeks",
             shown(all, n[0]), shown(oldest, n[1]));
}

static void add_verdicts(struct view *view, const json_t *quarter)
{
    char n[2][TYPESET_NUMBER], limits[48] = "";
    const json_t *range = json_object_get(quarter, "top1_range");
    if (number_of(quarter, "ranked") < 1)
        return;
    if (range)
        snprintf(limits, sizeof limits, " (%.0f to %.0f %%)", 100 * number_of(range, "low"),
                 100 * number_of(range, "high"));
    view_add(view, VIEW_ROW, "Verdicts", 0,
             "%s in 13 weeks; the cause ranked first was it in %.0f %%%s; %s days to a verdict",
             shown(number_of(quarter, "verdicts"), n[0]), 100 * number_of(quarter, "top1"), limits,
             shown(number_of(json_object_get(quarter, "days_to_verdict"), "median"), n[1]));
}

static void add_stages(struct view *view, const json_t *stages)
{
    struct text_buffer line = {0};
    size_t i;
    const json_t *row;
    char n[TYPESET_NUMBER];
    json_array_foreach(stages, i, row)
    {
        if (number_of(row, "n") > 0)
            text_appendf(&line, "%s%s %s", line.length ? ", " : "",
                         strcmp(text_of(row, "stage"), "taken-in") == 0 ? "taken in"
                                                                        : text_of(row, "stage"),
                         shown(number_of(row, "median_days"), n));
    }
    if (line.length)
        view_add(view, VIEW_ROW, "Days until", 0, "%s (median of 13 weeks)", line.data);
    text_buffer_free(&line);
}

/* ---- what rose ---- */

static void add_level(char *out, size_t size, const json_t *level)
{
    const char *title = text_of(level, "title");
    char name[PLANT_LEVEL];
    if (*title)
        snprintf(out, size, "%s", title);
    else
        snprintf(out, size, "%s %s", text_of(level, "factor"),
                 plant_level_of(level, "level", name));
}

/* An event that an older version queued says less. */
static const char *course_of(const json_t *story)
{
    const char *course = text_of(story, "course");
    if (*course)
        return course;
    return json_is_true(json_object_get(story, "still")) ? "up" : "easing";
}

/* "Line 2 (mold): 21 since W45, usual 6; also in route R3" */
static void add_story(struct view *view, const json_t *story)
{
    char n[2][TYPESET_NUMBER], what[160];
    struct text_buffer also = {0};
    size_t i;
    const json_t *level;
    add_level(what, sizeof what, json_object_get(story, "led_by"));
    what[0] = (char)toupper((unsigned char)what[0]);
    json_array_foreach(json_object_get(story, "beneath"), i, level)
    {
        char name[160];
        add_level(name, sizeof name, level);
        text_appendf(&also, "%s%s", i ? ", " : "; also in ", name);
    }
    const char *course = course_of(story);
    bool up = strcmp(course, "up") == 0;
    view_add(view, VIEW_ITEM, NULL, 0, "%s (%s): %s since %s, usual %s%s%s%s", what,
             text_of(story, "symptom"), shown(round(number_of(story, "observed")), n[0]),
             short_week(text_of(story, "since")), shown(round(number_of(story, "expected")), n[1]),
             up ? "" : ", ", up ? "" : course, also.data ? also.data : "");
    text_buffer_free(&also);
}

static void add_stories(struct view *view, const json_t *week)
{
    const json_t *stories = json_object_get(week, "stories"), *story;
    size_t i;
    json_array_foreach(stories, i, story)
    {
        if (i < SIGNALS)
            add_story(view, story);
    }
    if (!i && number_of(json_object_get(week, "tested"), "recent_weeks") < 1)
        view_add(view, VIEW_TEXT, NULL, 0,
                 "Too early to tell: there are not yet six weeks of production to compare with.");
    else if (!i)
        view_add(view, VIEW_TEXT, NULL, 0, "Nothing is up beyond chance.");
    if (i > SIGNALS)
        view_add(view, VIEW_ITEM, NULL, 0, "%zu further, less sure", i - SIGNALS);
}

/* ---- where, why, and what is to come ---- */

static void add_lines(struct view *view, const json_t *lines)
{
    size_t i, told = 0;
    const json_t *row;
    json_array_foreach(lines, i, row)
    {
        char n[4][TYPESET_NUMBER], line[PLANT_LEVEL];
        double count = number_of(row, "complaints");
        plant_level_of(row, "level", line);
        if (count < 1 || told++ >= ROWS)
            continue;
        if (told == 1)
            view_add(view, VIEW_HEADING, NULL, 0, "By line, per million units packed");
        if (number_of(row, "units") < 1) {
            view_add(view, VIEW_ITEM, NULL, 0, "Line %s, %s: %s; no pack of that week is on record",
                     line, text_of(row, "symptom"), shown(count, n[0]));
            continue;
        }
        view_add(view, VIEW_ITEM, NULL, 0, "Line %s, %s: %s, that is %s per million (%s to %s)",
                 line, text_of(row, "symptom"), shown(count, n[0]),
                 shown(number_of(row, "per_million"), n[1]), shown(number_of(row, "low"), n[2]),
                 shown(number_of(row, "high"), n[3]));
    }
}

static void add_causes(struct view *view, const json_t *week)
{
    size_t i, told = 0;
    const json_t *row, *causes = json_object_get(week, "causes");
    json_array_foreach(causes, i, row)
    {
        char n[TYPESET_NUMBER];
        double expected = number_of(row, "expected");
        if (expected < EXPECTED_LEAST || told++ >= ROWS)
            continue;
        if (told == 1)
            view_add(view, VIEW_HEADING, NULL, 0, "Likely causes, in complaints");
        view_add(view, VIEW_ITEM, NULL, 0, "%s (%s): %s, %.0f %% of the symptom",
                 text_of(row, "title"), text_of(row, "symptom"), shown(expected, n),
                 100 * number_of(row, "share"));
    }
    size_t harm = told_view_harm_reports(week);
    if (told && harm)
        view_add(view, VIEW_CAUTION, NULL, 0, TOLD_VIEW_HARM_AMONG, harm);
}

static void add_to_come(struct view *view, const json_t *rows)
{
    size_t i, told = 0;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char n[4][TYPESET_NUMBER];
        double reported = number_of(row, "reported"), final = number_of(row, "expected_final");
        if (final - reported < EXPECTED_LEAST || told++ >= ROWS)
            continue;
        if (told == 1)
            view_add(view, VIEW_HEADING, NULL, 0, "Still to come about bread already packed");
        view_add(view, VIEW_ITEM, NULL, 0,
                 "Packed in %s, %s: %s so far, %s in the end (90 %%: %s to %s)",
                 short_week(text_of(row, "made_week")), text_of(row, "symptom"),
                 shown(reported, n[0]), shown(round(final), n[1]),
                 shown(number_of(row, "low"), n[2]), shown(number_of(row, "high"), n[3]));
    }
}

/* ---- what next ---- */

static void add_next(struct view *view, const json_t *week)
{
    const char *name = text_of(week, "week");
    const json_t *first = json_array_get(json_object_get(week, "stories"), 0);
    struct iso_week w;
    char from[16], to[16];
    struct text_buffer plant = {0};
    if (*text_of(week, "plant")) {
        text_append(&plant, " --plant ");
        text_append_word(&plant, text_of(week, "plant"));
    }
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    if (first && iso_week_parse(name, &w, NULL) == 0) {
        int32_t last = iso_week_monday(w) + 6;
        view_add(view, VIEW_ITEM, NULL, 0,
                 "What they share: oddloaf trace --symptom %s --from %s --to %s%s",
                 text_of(first, "symptom"), day_format(last - TRACE_DAYS + 1, from),
                 day_format(last, to), plant.length ? plant.data : "");
    }
    view_add(view, VIEW_ITEM, NULL, 0,
             "Whether a fix worked: oddloaf action --list, then oddloaf action NUMBER --effect");
    view_add(view, VIEW_ITEM, NULL, 0, "All of it with charts: oddloaf week %s%s --html week.html",
             name, plant.length ? plant.data : "");
    text_buffer_free(&plant);
    view_add(
        view, VIEW_TEXT, NULL, 0,
        "A pattern is a reason to look, not a finding. Of what is listed as risen, one in twenty "
        "is expected to be chance. Reports of harm are not judged here: they go by the "
        "plant's own procedure and the law of the place.");
}

/* By what they are about: no cause is looked for. */
static void add_other(struct view *view, const json_t *week)
{
    struct text_buffer kinds = {0};
    size_t i;
    const json_t *one;
    char all[TYPESET_COUNT], n[TYPESET_NUMBER];
    json_array_foreach(json_object_get(week, "other_kinds"), i, one) text_appendf(
        &kinds, "%s%s %s", i ? ", " : ": ", json_string_value(json_object_get(one, "says")),
        shown(number_of(one, "complaints"), n));
    view_add(view, VIEW_ROW, "Other", 0, "%s%s",
             typeset_count(number_of(week, "other"), "complaint", " ", all),
             kinds.length ? kinds.data : "");
    text_buffer_free(&kinds);
}

void view_of_digest(const json_t *event, struct view *view)
{
    const json_t *week = json_object_get(event, "week");
    const char *symptom;
    json_t *count;
    char n[TYPESET_NUMBER];
    size_t i;
    const json_t *line;
    add_title(view, text_of(week, "week"), text_of(week, "plant"));
    json_array_foreach(json_object_get(week, "headline"), i, line)
        view_add(view, VIEW_ITEM, NULL, 0, "%s", json_string_value(line));
    view_add(view, VIEW_ROW, "Plant", 0, "%s", text_of(event, "plant"));
    json_object_foreach(json_object_get(week, "complaints"), symptom, count)
        add_symptom(view, week, symptom, json_number_value(count));
    if (number_of(week, "other") > 0)
        add_other(view, week);
    view_add(view, VIEW_ROW, "Units packed", 0, "%s", shown(number_of(week, "units"), n));
    add_open(view, json_object_get(week, "open_cases"));
    add_verdicts(view, json_object_get(json_object_get(week, "right"), "quarter"));
    add_stages(view, json_object_get(week, "stages"));
    view_add(view, VIEW_HEADING, NULL, 0, "What rose");
    add_stories(view, week);
    add_lines(view, json_object_get(json_object_get(week, "by"), "line"));
    add_causes(view, week);
    add_to_come(view, json_object_get(week, "to_come"));
    add_next(view, week);
}
