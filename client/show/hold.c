#include "show/hold.h"
#include "base/text.h"
#include "show/pick.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void hold_show_unrecorded(const struct view *v, const json_t *answer)
{
    char *codes = pick_shown(answer, "not_on_record");
    if (*codes)
        view_textf(
            v, VIEW_BOLD, 0, 2,
            "Not on record: %s. Check the code. It is kept by the code and becomes the lot's "
            "when a lot of that code is loaded.",
            codes);
    free(codes);
}

void hold_show_passed_on(const struct view *v, const json_t *answer)
{
    char *codes = pick_shown(answer, "passed_on");
    if (*codes)
        view_textf(v, VIEW_BOLD, 0, 2,
                   "Another plant's: %s. The hold stands there, and that plant's people see it and "
                   "end it, not you. Tell them.",
                   codes);
    free(codes);
}

const char *hold_why_common(const json_t *common, char out[static HOLD_WHY])
{
    char elsewhere[64] = "";
    if (pick_has(common, "elsewhere"))
        snprintf(elsewhere, sizeof elsewhere, ", and in %.0f of other plants",
                 pick_number(common, "elsewhere", 0));
    if (pick_has(common, "products"))
        snprintf(out, HOLD_WHY, "of %.0f products, and so not the printed label%s",
                 pick_number(common, "products", 0), elsewhere);
    else
        snprintf(out, HOLD_WHY, "most of the plant's of those days%s", elsewhere);
    return out;
}

/* "H3: glass, mira, 2026-11-20 09:14, C12" */
static void append_hold(struct text_buffer *out, const json_t *hold)
{
    char when[VIEW_NUMBER];
    text_appendf(out, "%s: %s, %s, %s", pick_text(hold, "hold", "?"),
                 pick_text(hold, "reason", "no reason given"), pick_text(hold, "by", "?"),
                 view_when(pick_text(hold, "at", ""), when));
    if (pick_has(hold, "case"))
        text_appendf(out, ", %s", pick_text(hold, "case", ""));
}

void hold_show_list(const struct view *v, const char *heading, const json_t *holds)
{
    size_t i;
    const json_t *hold;
    if (json_array_size(holds))
        view_text(v, VIEW_BOLD, 0, 2, heading);
    json_array_foreach(holds, i, hold)
    {
        struct text_buffer line = {0};
        text_appendf(&line, "%s  ", pick_text(hold, "lot", "?"));
        append_hold(&line, hold);
        view_text(v, VIEW_PLAIN, 2, 2, line.data);
        text_buffer_free(&line);
    }
}

static void show_decided(const struct view *v, const json_t *hold)
{
    char when[VIEW_NUMBER];
    if (!json_is_object(hold))
        return;
    view_label(v, "disposition", "%s: %s, %s, %s", pick_text(hold, "disposition", "?"),
               pick_text(hold, "reason", "no reason given"), pick_text(hold, "by", "?"),
               view_when(pick_text(hold, "at", ""), when));
}

void hold_show_standing(const struct view *v, const json_t *document)
{
    size_t i;
    const json_t *hold;
    json_array_foreach(json_object_get(document, "holds"), i, hold)
    {
        struct text_buffer line = {0};
        append_hold(&line, hold);
        view_label(v, "ON HOLD", "%s", line.data);
        text_buffer_free(&line);
    }
}

void hold_show_lot(const struct view *v, const json_t *document)
{
    hold_show_standing(v, document);
    if (json_array_size(json_object_get(document, "holds")) == 0)
        show_decided(v, json_object_get(document, "hold"));
}
