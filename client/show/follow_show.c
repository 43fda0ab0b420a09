#include "show/follow_show.h"
#include "base/text.h"
#include "base/when.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

/* ---- its day ---- */

/* Of a plant in another zone the daemon says what day it is there. */
static void show_due(const struct view *v, const json_t *document, int32_t today)
{
    int32_t day, there;
    if (day_parse(pick_text(document, "today", ""), &there, NULL) == 0)
        today = there;
    const char *due = pick_text(document, "due", "");
    if (day_parse(due, &day, NULL)) {
        view_label(v, "due", "no day");
        return;
    }
    int days = day < today ? today - day : day - today;
    const char *unit = days == 1 ? "day" : "days";
    const char *why = strcmp(due, pick_text(document, "sold_until", "")) == 0
                          ? ": bread of its lot is on sale until then"
                          : "";
    if (day < today)
        view_label(v, "OVERDUE", "since %s, %d %s", due, days, unit);
    else if (days == 0)
        view_label(v, "due", "today, %s%s", due, why);
    else
        view_label(v, "due", "%s, in %d %s%s", due, days, unit, why);
}

/* ---- severity ---- */

static const json_t *level_of(const json_t *working, const char *severity)
{
    size_t i;
    const json_t *level;
    json_array_foreach(json_object_get(working, "levels"), i, level)
    {
        if (strcmp(pick_text(level, "severity", ""), severity) == 0)
            return level;
    }
    return NULL;
}

static void show_severity(const struct view *v, const json_t *document)
{
    const json_t *working = json_object_get(document, "working");
    const char *severity = pick_text(document, "severity", "not weighed yet");
    const char *by_rule = pick_text(working, "by_rule", "");
    struct text_buffer text = {0};
    text_append(&text, severity);
    if (pick_bool(working, "set", false))
        text_appendf(&text, ", as somebody set it; by the rules it is %s", by_rule);
    if (working) {
        int64_t points = pick_int(working, "points", 0);
        text_appendf(&text, " (%lld %s; %s from %lld on)", (long long)points,
                     points == 1 ? "point" : "points", by_rule,
                     (long long)pick_int(level_of(working, by_rule), "from", 0));
    }
    view_label(v, "severity", "%s", text.data);
    text_buffer_free(&text);
}

static const char *value_of(const json_t *row, char out[static VIEW_NUMBER])
{
    const char *fact = pick_text(row, "fact", "");
    double value = pick_number(row, "value", 0);
    if (strcmp(fact, "sure") == 0)
        return view_percent(value, out);
    return strcmp(fact, "harm") == 0 || strcmp(fact, "may_harm") == 0 ? "yes"
                                                                      : view_number(value, out);
}

/* Why each point; what gave none is only named. */
static void show_working(const struct view *v, const json_t *working)
{
    struct text_buffer rest = {0};
    size_t i;
    const json_t *row;
    if (json_array_size(json_object_get(working, "working")))
        view_section(v, "How the severity comes about");
    json_array_foreach(json_object_get(working, "working"), i, row)
    {
        char number[VIEW_NUMBER];
        int64_t points = pick_int(row, "points", 0);
        const char *title = pick_text(row, "title", "?");
        if (points)
            view_textf(v, VIEW_PLAIN, 2, 4, "%lld for %s: %s, because %s (%s)", (long long)points,
                       title, value_of(row, number), pick_text(row, "because", ""),
                       pick_text(row, "source", ""));
        else
            text_appendf(&rest, "%s%s", rest.length ? "; " : "", title);
    }
    if (rest.length)
        view_textf(v, VIEW_DIM, 2, 4, "none for %s", rest.data);
    text_buffer_free(&rest);
}

/* ---- what was done ---- */

static void append_change(struct text_buffer *text, const json_t *entry)
{
    const char *was = pick_text(entry, "was", ""), *is = pick_text(entry, "is", "");
    text_appendf(text, "%s: %s", pick_text(entry, "what", "?"), *is ? is : "none");
    if (*was)
        text_appendf(text, ", was %s", was);
}

static void append_what(struct text_buffer *text, const json_t *entry)
{
    const char *what = pick_text(entry, "what", "");
    char when[VIEW_NUMBER];
    if (strcmp(what, "noted") == 0)
        text_append(text, "note");
    else if (strcmp(what, "answered") == 0)
        text_appendf(text, "answered the caller %s", view_when(pick_text(entry, "is", ""), when));
    else if (strcmp(what, "call-back") == 0)
        text_appendf(text, "call back by %s", pick_text(entry, "is", ""));
    else
        append_change(text, entry);
}

static void show_entry(const struct view *v, const json_t *entry)
{
    char when[VIEW_NUMBER];
    struct text_buffer text = {0};
    const char *said = pick_text(entry, "text", ""), *user = pick_text(entry, "user", "");
    const char *by = pick_text(entry, "by", "?"), *of = pick_complaint(entry, "");
    text_appendf(&text, "%s  %s", view_when(pick_text(entry, "at", "?"), when), by);
    if (*user && strcmp(user, by) != 0)
        text_appendf(&text, " (%s)", user);
    text_append(&text, "  ");
    append_what(&text, entry);
    if (*of)
        text_appendf(&text, ", complaint %s", of);
    if (*said)
        text_appendf(&text, ": %s", said);
    view_text(v, VIEW_PLAIN, 2, 4, text.data);
    text_buffer_free(&text);
}

/* Whom the rules put on the list of calls stands there. */
static bool is_listed(const json_t *entry)
{
    return strcmp(pick_text(entry, "what", ""), "call-back") == 0 && !*pick_text(entry, "user", "");
}

static void show_entries(const struct view *v, const json_t *entries)
{
    size_t i;
    const json_t *entry;
    bool begun = false;
    json_array_foreach(entries, i, entry)
    {
        if (is_listed(entry))
            continue;
        if (!begun)
            view_section(v, "What was done");
        begun = true;
        show_entry(v, entry);
    }
}

/* ---- who is to be called ---- */

static const struct column CALLS[] = {{"by", COLUMN_LEFT, 0},
                                      {"case", COLUMN_LEFT, 0},
                                      {"who", COLUMN_LEFT, 14},
                                      {"complaint", COLUMN_LEFT, 8},
                                      {"what for", COLUMN_LEFT, 14}};

static void add_who(struct table *t, const json_t *call)
{
    static const char *const NAMES[] = {"name", "phone", "email"};
    struct text_buffer who = {0};
    const json_t *contact = json_object_get(call, "contact");
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++)
        if (pick_has(contact, NAMES[i]))
            text_appendf(&who, "%s%s", who.length ? ", " : "", pick_text(contact, NAMES[i], ""));
    table_add(t, who.length ? who.data : "with the desk");
    text_buffer_free(&who);
}

static void add_call(struct table *t, const json_t *call)
{
    const char *reference = pick_text(call, "reference", NULL);
    bool settled = strcmp(pick_text(call, "state", ""), "settled") == 0;
    table_addf(t, "%s%s", pick_text(call, "due", "?"),
               pick_bool(call, "overdue", false) ? " LATE" : "");
    table_addf(t, "%s%s", pick_text(call, "case", "?"), settled ? " settled" : "");
    add_who(t, call);
    table_add(t, reference ? reference : pick_complaint(call, "?"));
    const char *why = pick_text(call, "why", ""), *by = pick_text(call, "by", "?");
    if (*pick_text(call, "user", "") || !*why)
        table_addf(t, "%s%s(%s)", why, *why ? " " : "", by);
    else /* the rules put it there, and say why */
        table_add(t, why);
}

static size_t show_calls(const struct view *v, const json_t *calls, int indent)
{
    struct table *t = table_new(CALLS, sizeof CALLS / sizeof *CALLS);
    size_t i, rows;
    const json_t *call;
    json_array_foreach(calls, i, call)
    {
        add_call(t, call);
    }
    rows = table_rows(t);
    if (rows)
        table_print(t, v, indent);
    table_free(t);
    return rows;
}

/* Nobody can keep a promise to these. */
static void show_lost(const struct view *v, const json_t *list)
{
    size_t i;
    const json_t *one;
    if (json_array_size(list))
        view_section(v, "No number left");
    json_array_foreach(list, i, one)
    {
        const char *reference = pick_text(one, "reference", NULL);
        view_textf(v, VIEW_PLAIN, 2, 4, "%s, complaint %s: %s", pick_text(one, "case", "?"),
                   reference ? reference : pick_complaint(one, "?"), pick_text(one, "why", ""));
    }
}

void follow_show_call_backs(const struct view *v, const json_t *document)
{
    const json_t *calls = json_object_get(document, "call_backs");
    int64_t waiting = pick_int(document, "waiting", 0);
    size_t shown = show_calls(v, calls, 0);
    if (!shown)
        view_text(v, VIEW_PLAIN, 0, 0, "Nobody is to be called back.");
    else if (waiting > (int64_t)shown)
        view_textf(v, VIEW_BOLD, 0, 2, "%lld wait; the first %zu are shown.", (long long)waiting,
                   shown);
    show_lost(v, json_object_get(document, "unreachable"));
}

/* ---- all of it ---- */

void follow_show(const struct view *v, const json_t *document, int32_t today)
{
    const json_t *calls = json_object_get(document, "call_backs");
    view_title(v, "%s  %s, %s%s", pick_text(document, "case", "?"),
               pick_text(document, "symptom", "?"), pick_text(document, "state", "?"),
               pick_bool(document, "harm", false) ? ", HARM REPORTED" : "");
    standing_show(v, document, NULL);
    show_severity(v, document);
    view_label(v, "owner", "%s", pick_text(document, "owner", "nobody"));
    show_due(v, document, today);
    show_working(v, json_object_get(document, "working"));
    show_entries(v, json_object_get(document, "entries"));
    if (json_array_size(calls))
        view_section(v, "To be called back");
    show_calls(v, calls, 2);
    harm_show_heard(v, document);
}
