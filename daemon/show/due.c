/* The day's list: cases past their day, and callers to be called back. */
#include "base/plant_level.h"
#include "show/view.h"
#include <string.h>

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static json_int_t number_of(const json_t *object, const char *name)
{
    return json_integer_value(json_object_get(object, name));
}

/* Harm before all else; whose it is, how long it is late. */
static void add_case(struct view *view, const json_t *item)
{
    json_int_t days = number_of(item, "days"), n = number_of(item, "complaints");
    const char *owner = text_of(item, "owner"), *lot = text_of(item, "lot");
    char named[PLANT_LEVEL];
    plant_level(*lot ? lot : "not certain", text_of(item, "plant"), named);
    view_add(view, VIEW_ITEM, NULL, 0,
             "%s%s (%s): %s, %s%s, %" JSON_INTEGER_FORMAT " %s; due %s, %" JSON_INTEGER_FORMAT
             " %s ago; %s%s",
             json_is_true(json_object_get(item, "harm")) ? "HARM REPORTED: " : "",
             text_of(item, "case"), text_of(item, "severity"), text_of(item, "symptom"), "lot ",
             named, n, n == 1 ? "complaint" : "complaints", text_of(item, "due"), days,
             days == 1 ? "day" : "days", *owner ? "owner " : "nobody owns it", owner);
}

/* Who called is with the desk, and what to tell them with the case, not in the mail. */
static void add_call(struct view *view, const json_t *item)
{
    const char *reference = text_of(item, "reference");
    view_add(view, VIEW_ITEM, NULL, 0, "By %s%s: %s, complaint %s", text_of(item, "due"),
             json_is_true(json_object_get(item, "overdue")) ? ", LATE" : "", text_of(item, "case"),
             *reference ? reference : text_of(item, "complaint"));
}

/* Harm that nobody can call about: the store or the route may know who it was. */
static void add_lost(struct view *view, const json_t *item)
{
    const char *reference = text_of(item, "reference");
    view_add(view, VIEW_ITEM, NULL, 0, "%s, complaint %s: %s", text_of(item, "case"),
             *reference ? reference : text_of(item, "complaint"), text_of(item, "why"));
}

struct list {
    const char *name, *count, *heading;
    void (*add)(struct view *, const json_t *);
};

static void add_list(struct view *view, const json_t *event, const struct list *l)
{
    const json_t *list = json_object_get(event, l->name), *item;
    json_int_t all = number_of(event, l->count);
    size_t i;
    if (json_array_size(list))
        view_add(view, VIEW_HEADING, NULL, 0, "%s", l->heading);
    json_array_foreach(list, i, item) l->add(view, item);
    if ((json_int_t)i < all)
        view_add(view, VIEW_ITEM, NULL, 0, "%" JSON_INTEGER_FORMAT " further", all - (json_int_t)i);
}

void view_of_due(const json_t *event, struct view *view)
{
    static const struct list LISTS[] = {
        {"unreachable", "unreachable_count", "Harm whose callers left no number", add_lost},
        {"overdue", "overdue_count", "Cases past their day", add_case},
        {"call_backs", "call_back_count", "To be called back", add_call},
    };
    view_add(view, VIEW_TITLE, NULL, 0, "What is due, %s", text_of(event, "day"));
    view_add(view, VIEW_ROW, "Plant", 0, "%s", text_of(event, "plant"));
    for (size_t i = 0; i < sizeof LISTS / sizeof LISTS[0]; i++)
        add_list(view, event, &LISTS[i]);
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    view_add(view, VIEW_ITEM, NULL, 0, "How a case stands, and a new day: oddloaf follow CASE");
    view_add(view, VIEW_ITEM, NULL, 0,
             "All of them: oddloaf cases --overdue --order urgent, oddloaf follow --call-backs. "
             "Who called is with the desk, not in this mail.");
}
