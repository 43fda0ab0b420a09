#include "show/standing.h"
#include "base/text.h"
#include "intake/fields.h"
#include "show/hold.h"
#include "show/pick.h"
#include "show/show.h"
#include <stdlib.h>
#include <string.h>

const char *standing_named(const json_t *document)
{
    return pick_text(document, "lot_named", pick_text(document, "lot", "lot not known"));
}

bool standing_is_exact(const json_t *document)
{
    return strcmp(pick_text(document, "lot_state", ""), "exact") == 0;
}

bool standing_names_one(const json_t *document)
{
    return standing_is_exact(document) ||
           strcmp(pick_text(document, "lot_state", ""), "likely") == 0;
}

char *standing_text(const json_t *document, const json_t *lot)
{
    struct text_buffer text = {0};
    char *line = standing_names_one(document) ? show_lot_line(lot) : NULL;
    text_append(&text, pick_text(document, "lot_says", standing_named(document)));
    if (line && *line)
        text_appendf(&text, ". %s", line);
    free(line);
    return text_take(&text);
}

static void show_decides(const struct view *v, const json_t *decides)
{
    struct text_buffer text = {0};
    size_t i;
    const json_t *item;
    json_array_foreach(decides, i, item)
    {
        text_appendf(&text, "%s%s", i ? "; " : "", json_string_value(item));
    }
    if (text.length)
        view_label(v, "would decide", "%s", text.data);
    text_buffer_free(&text);
}

static void show_doubts(const struct view *v, const json_t *doubts)
{
    size_t i;
    const json_t *doubt;
    json_array_foreach(doubts, i, doubt)
    {
        view_label(v, i ? "" : "in doubt", "%s %s: %s",
                   fields_title(pick_text(doubt, "field", "?")), pick_text(doubt, "value", ""),
                   pick_text(doubt, "says", "in doubt"));
    }
}

/* Candidates that say nothing are not told: those of a lot not known, or beside a sure answer. */
static bool has_candidates(const json_t *document)
{
    static const double WORTH_TELLING = 0.01;
    const json_t *first = json_array_get(json_object_get(document, "lots"), 0);
    return strcmp(pick_text(document, "lot_state", "unknown"), "unknown") != 0 &&
           !standing_is_exact(document) && pick_number(first, "weight", 0) >= WORTH_TELLING;
}

void standing_show_rest(const struct view *v, const json_t *document)
{
    if (has_candidates(document))
        show_candidates(v, json_object_get(document, "lots"));
    show_decides(v, json_object_get(document, "lot_decides"));
    show_doubts(v, json_object_get(document, "doubts"));
}

void standing_show(const struct view *v, const json_t *document, const json_t *lot)
{
    char *text = standing_text(document, lot);
    view_label(v, "lot", "%s", text);
    free(text);
    hold_show_standing(v, document);
    standing_show_rest(v, document);
}
