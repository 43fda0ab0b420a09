/* What to do about a case: questions, checks, cautions, other lots; and what was done. */
#include "intake/fields.h"
#include "show/sheet.h"
#include <math.h>
#include <string.h>

enum { LOTS = 40, EVENTS = 40, FILES = 40, EVENT_TEXT = 300 };

/* ---- asks and checks ---- */

static void add_ask(struct text_buffer *b, const json_t *ask)
{
    text_append(b, "<tr>");
    page_cell_text(b, "", page_text(ask, "ask"));
    page_cell_text(b, "w", page_text(ask, "of"));
    page_cell_text(b, "", page_text(ask, "effort"));
    text_appendf(b, "<td class=\"n\">%.2f</td></tr>", page_number(ask, "gain_bits"));
}

static void add_check(struct text_buffer *b, const json_t *check)
{
    double settles = page_number(check, "settles");
    text_append(b, "<tr>");
    page_cell_text(b, "", page_text(check, "do"));
    page_cell_text(b, "w", page_text(check, "who"));
    page_cell_text(b, "", page_text(check, "effort"));
    text_append(b, "<td class=\"n\">");
    if (isfinite(settles))
        sheet_add_percent(b, settles);
    else
        text_append(b, "–");
    text_append(b, "</td></tr>");
}

static void add_actions(struct text_buffer *b, const json_t *actions)
{
    size_t i;
    const json_t *action;
    if (!json_array_size(actions))
        return;
    text_append(b, "<h3>If it is the first cause</h3><ul>");
    json_array_foreach(actions, i, action)
    {
        text_append(b, "<li>");
        text_append_html(b, json_string_value(action));
        text_append(b, "</li>");
    }
    text_append(b, "</ul>");
}

void sheet_asks(struct text_buffer *b, const json_t *rank)
{
    static const struct page_column ASKS[] = {
        {"Ask", ""}, {"Who", ""}, {"Takes", ""}, {"Bits gained", "n"}, {NULL, NULL}};
    static const struct page_column CHECKS[] = {
        {"Check", ""}, {"Who", ""}, {"Takes", ""}, {"Settles it", "n"}, {NULL, NULL}};
    const json_t *asks = json_object_get(rank, "ask"), *checks = json_object_get(rank, "checks");
    const json_t *one;
    size_t i;
    if (json_array_size(asks) || json_array_size(checks))
        text_append(b, "<h2>What to ask and test</h2>");
    if (json_array_size(asks)) {
        page_open_table(b, ASKS);
        json_array_foreach(asks, i, one) add_ask(b, one);
        page_close_table(b);
    }
    if (json_array_size(checks)) {
        page_open_table(b, CHECKS);
        json_array_foreach(checks, i, one) add_check(b, one);
        page_close_table(b);
    }
    add_actions(b, json_object_get(rank, "actions"));
    text_append(b, "\n");
}

void sheet_harm_asks(struct text_buffer *b, const json_t *asks)
{
    static const struct page_column COLUMNS[] = {{"Ask", ""}, {"Who", ""}, {NULL, NULL}};
    const json_t *list = json_object_get(asks, "ask"), *one;
    size_t i;
    if (!json_array_size(list))
        return;
    text_append(b, "<h2>What to ask</h2>");
    page_open_table(b, COLUMNS);
    json_array_foreach(list, i, one)
    {
        if (json_object_get(one, "gain_bits"))
            continue;
        text_append(b, "<tr>");
        page_cell_text(b, "", page_text(one, "ask"));
        page_cell_text(b, "w", page_text(one, "of"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
    text_append(b, "\n");
}

/* ---- cautions ---- */

void sheet_cautions(struct text_buffer *b, const json_t *rank, size_t first)
{
    const json_t *cautions = json_object_get(rank, "cautions"), *one;
    size_t i;
    if (json_array_size(cautions) <= first)
        return;
    text_append(b, "<h2>Mind</h2><ul class=\"mind\">");
    json_array_foreach(cautions, i, one)
    {
        if (i < first)
            continue;
        text_append(b, "<li>");
        text_append_html(b, json_string_value(one));
        text_append(b, "</li>");
    }
    text_append(b, "</ul>\n");
}

/* ---- other lots ---- */

static const char *held_told(const json_t *lot)
{
    if (*page_text(lot, "came_of_it"))
        return page_text(lot, "came_of_it");
    return json_array_size(json_object_get(lot, "holds")) ? "held"
           : page_true(lot, "in_code")                    ? "no"
                                                          : "past code";
}

/* Beside harm nothing is a risk in percent. */
static void add_lot(struct text_buffer *b, const json_t *lot)
{
    text_append(b, "<tr>");
    if (json_object_get(lot, "probability")) {
        text_append(b, "<td class=\"n\">");
        sheet_add_chance(b, page_number(lot, "probability"));
        text_append(b, "</td>");
    }
    page_cell_what(b, page_text(lot, "lot"), page_text(lot, "because"));
    page_cell_number(b, "n", page_number(lot, "units"));
    page_cell_text(b, "w", page_text(lot, "code_date"));
    page_cell_text(b, "", held_told(lot));
    text_append(b, "</tr>");
}

/* What is told of those that are not listed. */
struct left_out {
    size_t over; /* past their code date */
    size_t more; /* beyond the room there is */
};

static void add_left_out(struct text_buffer *b, const json_t *reach, struct left_out left)
{
    if (left.over)
        text_appendf(b, "<p class=\"soft small\">%zu more are past their code date.</p>",
                     left.over);
    if (page_number(reach, "elsewhere") > 0)
        text_appendf(b, "<p><strong>Of other plants, and not named: %.0f.</strong></p>",
                     page_number(reach, "elsewhere"));
    if (!left.more && !page_true(reach, "more"))
        return;
    text_appendf(b, "<p>%s%zu more: <code>oddloaf reach ",
                 page_true(reach, "more") ? "At least " : "", left.more);
    page_add_text(b, reach, "case");
    text_append(b, "</code></p>");
}

/* Those still in code, that can be held: likeliest first, as they come. */
static void add_lots(struct text_buffer *b, const json_t *reach)
{
    static const struct page_column COLUMNS[] = {{"Has it", "n"}, {"Lot, and why", ""},
                                                 {"Units", "n"},  {"Best by", "w"},
                                                 {"On hold", ""}, {NULL, NULL}};
    const json_t *own = json_object_get(reach, "own"), *lot;
    struct left_out left = {0};
    size_t i, told = 0;
    page_open_table(b, *page_text(reach, "by") ? COLUMNS + 1 : COLUMNS);
    if (own)
        add_lot(b, own);
    json_array_foreach(json_object_get(reach, "lots"), i, lot)
    {
        bool room = page_true(lot, "in_code") && told < LOTS;
        left.over += !page_true(lot, "in_code");
        left.more += page_true(lot, "in_code") && !room;
        told += room;
        if (room)
            add_lot(b, lot);
    }
    page_close_table(b);
    add_left_out(b, reach, left);
}

/* Behind what its list goes by. */
static void add_reach(struct text_buffer *b, const json_t *reach)
{
    page_add_text(b, reach, "title");
    text_append(b, ". In code on ");
    page_add_text(b, reach, "in_code_on");
    text_append(b, ".</p>");
    if (json_object_get(reach, "own") || json_array_size(json_object_get(reach, "lots")))
        add_lots(b, reach);
    if (*page_text(reach, "none_because")) {
        text_append(b, "<p>No other lot is named: ");
        page_add_text(b, reach, "none_because");
        text_append(b, ".</p>");
    }
    text_append(b, "\n");
}

void sheet_reach(struct text_buffer *b, const json_t *reach)
{
    if (!json_is_object(reach))
        return;
    text_append(b,
                "<h2>Lots at risk</h2><p class=\"soft small\">How likely a lot has this fault: ");
    add_reach(b, reach);
}

void sheet_beside(struct text_buffer *b, const json_t *reach)
{
    const json_t *one;
    size_t i;
    if (!*page_text(reach, "by"))
        return;
    text_append(b, "<h2>Lots it may lie in</h2><p class=\"soft small\">By what they share: ");
    add_reach(b, reach);
    if (page_number(reach, "left_out") > 0)
        text_appendf(b, "<p><strong>It may be %.0f more lots, which are not named.</strong></p>",
                     page_number(reach, "left_out"));
    json_array_foreach(json_object_get(reach, "common"), i, one)
    {
        text_append(b, "<p>Also ");
        page_add_text(b, one, "shares");
        text_appendf(b, " in %.0f lots, ", page_number(one, "lots"));
        if (page_number(one, "products") > 0)
            text_appendf(b, "of %.0f products, and so not the printed label",
                         page_number(one, "products"));
        else
            text_append(b, "most of the plant's of those days");
        if (page_number(one, "elsewhere") > 0)
            text_appendf(b, ", and in %.0f of other plants", page_number(one, "elsewhere"));
        text_append(b, ": not listed for that.</p>");
    }
}

/* ---- following up ---- */

/* How far it is, by the stages that `oddloaf scores` times. */
static const char *stage_of(const json_t *follow)
{
    if (strcmp(page_text(follow, "state"), "open") != 0)
        return page_text(follow, "state");
    return *page_text(follow, "owner") ? "owned, not settled" : "taken in, nobody owns it";
}

static void add_pair(struct text_buffer *b, const char *label, const char *text)
{
    if (!*text)
        return;
    text_appendf(b, "<dt>%s</dt><dd>", label);
    text_append_html(b, text);
    text_append(b, "</dd>");
}

void sheet_follow(struct text_buffer *b, const json_t *follow)
{
    struct text_buffer due = {0};
    size_t waiting = json_array_size(json_object_get(follow, "call_backs"));
    if (!*page_text(follow, "severity")) /* it was not weighed yet */
        return;
    text_appendf(&due, "%s%s", page_text(follow, "due"),
                 page_true(follow, "overdue") ? ", past it" : "");
    text_append(b, "<h2>Following up</h2><dl>");
    add_pair(b, "Severity", page_text(follow, "severity"));
    add_pair(b, "Owner", page_text(follow, "owner"));
    add_pair(b, "Due", due.data);
    add_pair(b, "Stage", stage_of(follow));
    if (waiting)
        text_appendf(b, "<dt>To call back</dt><dd>%zu caller%s</dd>", waiting,
                     waiting == 1 ? "" : "s");
    text_append(b, "</dl>\n");
    text_buffer_free(&due);
}

/* ---- what belongs to it ---- */

void sheet_attached(struct text_buffer *b, const json_t *attachments)
{
    static const struct page_column COLUMNS[] = {{"File", ""}, {"Kind", ""}, {"kB", "n"},
                                                 {"By", ""},   {"On", "w"},  {NULL, NULL}};
    char day[11];
    size_t count = json_array_size(attachments);
    if (!count)
        return;
    text_append(b, "<h2>Attached</h2>");
    page_open_table(b, COLUMNS);
    for (size_t i = 0; i < count && i < FILES; i++) {
        const json_t *file = json_array_get(attachments, i);
        text_append(b, "<tr>");
        page_cell_text(b, "", page_text(file, "name"));
        page_cell_text(b, "", page_text(file, "type"));
        page_cell_number(b, "n", page_number(file, "bytes") / 1000);
        page_cell_text(b, "", page_text(file, "by"));
        page_cell_text(b, "w", text_clip(page_text(file, "at"), day, sizeof day));
        text_append(b, "</tr>");
    }
    page_close_table(b);
    if (count > FILES)
        text_appendf(b, "<p class=\"soft small\">And %zu more.</p>", count - FILES);
    text_append(b, "\n");
}

/* ---- history ---- */

/* What comes many times over is counted: of those that follow each other, in one row. */
static const struct {
    const char *what, *told, *one;
} FOLDED[] = {{"logged", "logged", "complaint"},
              {"mailed", "mailed", "time"},
              {"call-back", "due by the rules:", "call-back"}};
enum { FOLDED_COUNT = sizeof FOLDED / sizeof FOLDED[0] };

/* Which of them it is; FOLDED_COUNT none, nor is what a person asked for. */
static size_t folded(const json_t *event)
{
    const char *what = page_text(event, "what");
    size_t i = 0;
    while (i < FOLDED_COUNT && strcmp(FOLDED[i].what, what) != 0)
        i++;
    bool asked = strcmp(what, "call-back") == 0 && strcmp(page_text(event, "by"), "oddloaf") != 0;
    return asked ? FOLDED_COUNT : i;
}

/* How many events from `first` on are one row. */
static size_t row_length(const json_t *events, size_t first)
{
    size_t end = first;
    while (end < json_array_size(events) && folded(json_array_get(events, end)) < FOLDED_COUNT)
        end++;
    return end > first ? end - first : 1;
}

static void append_told(struct text_buffer *out, const char *text)
{
    char clipped[EVENT_TEXT];
    if (*text)
        text_appendf(out, "%s%s", out->length ? ": " : "",
                     text_clip(text, clipped, sizeof clipped));
}

/* What of the event is no cause: beside harm none is told, and why a mail left may name one. */
static void add_event(struct text_buffer *b, const json_t *event)
{
    static const char *const IS[] = {"released", "owner", "due", "severity"};
    const char *about = page_text(event, "lot"), *field = page_text(event, "field");
    const char *what = page_text(event, "what");
    struct text_buffer told = {0};
    append_told(&told, *field ? fields_title(field) : about);
    for (size_t i = 0; i < sizeof IS / sizeof IS[0]; i++)
        if (strcmp(what, IS[i]) == 0)
            append_told(&told, page_text(event, "is"));
    if (folded(event) == FOLDED_COUNT)
        append_told(&told, page_text(event, "why"));
    page_cell_what(b, what, told.data ? told.data : "");
    page_cell_text(b, "name", page_text(event, "by"));
    text_buffer_free(&told);
}

static void add_folded(struct text_buffer *b, const json_t *events, size_t first, size_t length)
{
    struct text_buffer what = {0};
    size_t count[FOLDED_COUNT] = {0};
    const char *by = page_text(json_array_get(events, first), "by");
    for (size_t i = first; i < first + length; i++) {
        const json_t *event = json_array_get(events, i);
        count[folded(event)]++;
        if (strcmp(page_text(event, "by"), by) != 0)
            by = "several";
    }
    for (size_t i = 0; i < FOLDED_COUNT; i++) {
        if (count[i])
            text_appendf(&what, "%s%s %zu %s%s", what.length ? ", " : "", FOLDED[i].told, count[i],
                         FOLDED[i].one, count[i] == 1 ? "" : "s");
    }
    page_cell_what(b, what.data, "");
    page_cell_text(b, "name", by);
    text_buffer_free(&what);
}

static void add_row(struct text_buffer *b, const json_t *events, size_t first, size_t length)
{
    const char *from = page_text(json_array_get(events, first), "at");
    const char *to = page_text(json_array_get(events, first + length - 1), "at");
    text_append(b, "<tr><td>");
    sheet_add_when(b, from);
    if (strncmp(from, to, sizeof "2026-11-20T09:14" - 1) != 0) {
        text_append(b, " to ");
        sheet_add_when(b, to);
    }
    text_append(b, "</td>");
    if (length > 1)
        add_folded(b, events, first, length);
    else
        add_event(b, json_array_get(events, first));
    text_append(b, "</tr>");
}

/* Where the last rows begin that there is room for. */
static size_t first_shown(const json_t *events)
{
    size_t count = json_array_size(events), rows = 0, first = 0;
    for (size_t i = 0; i < count; i += row_length(events, i))
        rows++;
    for (; rows > EVENTS; rows--)
        first += row_length(events, first);
    return first;
}

void sheet_history(struct text_buffer *b, const json_t *history)
{
    static const struct page_column COLUMNS[] = {
        {"When", ""}, {"What", ""}, {"By", ""}, {NULL, NULL}};
    const json_t *events = json_object_get(history, "events");
    size_t count = json_array_size(events), first = first_shown(events);
    if (!count)
        return;
    text_append(b, "<h2>What was done</h2>");
    page_open_table(b, COLUMNS);
    for (size_t i = first, length; i < count; i += length) {
        length = row_length(events, i);
        add_row(b, events, i, length);
    }
    page_close_table(b);
    if (first)
        text_appendf(b, "<p class=\"soft small\">%zu earlier entries are left out.</p>", first);
    text_append(b, "\n");
}
