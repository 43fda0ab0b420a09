#include "show/lot_told.h"
#include "intake/fields.h"
#include <string.h>

enum { CANDIDATES = 6 };
/* Candidates that are told beside a lot that is named, or a code on no record. */
static const double WORTH_TELLING = 0.01;

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static void add_candidate(struct view *view, double weight, const char *text)
{
    char percent[8];
    view_add(view, VIEW_ITEM, NULL, 0, "%s %%  %s", text_chance(weight, percent), text);
}

/* All that is not told by name is told as a sum. Of the lot that is named the sentence has its
 * probability already: a ranking weighs the lots of its complaints, which is another figure. */
static void add_candidates(const json_t *lots, const char *named, struct view *view)
{
    double told = 0, all = 0;
    size_t i, rest = 0;
    const json_t *lot;
    char text[64];
    if (json_number_value(json_object_get(json_array_get(lots, 0), "weight")) < WORTH_TELLING)
        return;
    json_array_foreach(lots, i, lot)
    {
        double weight = json_number_value(json_object_get(lot, "weight"));
        all += weight;
        if (strcmp(text_of(lot, "lot"), named) == 0) {
            told += weight;
        } else if (i < CANDIDATES && weight >= WORTH_TELLING) {
            add_candidate(view, weight, text_of(lot, "lot"));
            told += weight;
        } else {
            rest++;
        }
    }
    if (rest) {
        snprintf(text, sizeof text, "%zu further, together", rest);
        add_candidate(view, all - told, text);
    }
    if (all < 1 - WORTH_TELLING)
        add_candidate(view, 1 - all, "none of these, or not on record");
}

static void add_decides(const json_t *decides, struct view *view)
{
    struct text_buffer text = {0};
    size_t i;
    const json_t *item;
    json_array_foreach(decides, i, item)
    {
        text_appendf(&text, "%s%s", i ? "; " : "", json_string_value(item));
    }
    if (text.length)
        view_add(view, VIEW_ROW, "Would decide", 0, "%s", text.data);
    text_buffer_free(&text);
}

static void add_doubts(const json_t *doubts, struct view *view)
{
    size_t i;
    const json_t *doubt;
    json_array_foreach(doubts, i, doubt)
    {
        view_add(view, VIEW_ROW, "Doubtful", 0, "%s %s: %s", fields_title(text_of(doubt, "field")),
                 text_of(doubt, "value"), text_of(doubt, "says"));
    }
}

/* A lot on hold is said to be, whatever else is told of it. */
static void add_holds(const json_t *holds, struct view *view)
{
    size_t i;
    const json_t *hold;
    json_array_foreach(holds, i, hold)
    {
        const char *of_case = text_of(hold, "case");
        view_add(view, VIEW_ROW, "On hold", 0, "%s (%s, %.10s%s%s)", text_of(hold, "reason"),
                 text_of(hold, "by"), text_of(hold, "at"), *of_case ? ", " : "", of_case);
    }
}

void lot_told_rows(const json_t *object, struct view *view)
{
    const char *state = text_of(object, "lot_state");
    if (*text_of(object, "lot_says"))
        view_add(view, VIEW_ROW, "Lot", 0, "%s", text_of(object, "lot_says"));
    add_holds(json_object_get(object, "holds"), view);
    if (strcmp(state, "exact") != 0 && strcmp(state, "unknown") != 0)
        add_candidates(json_object_get(object, "lots"), text_of(object, "lot"), view);
    add_decides(json_object_get(object, "lot_decides"), view);
    add_doubts(json_object_get(object, "doubts"), view);
}
