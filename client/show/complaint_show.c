#include "show/complaint_show.h"
#include "intake/fields.h"
#include "show/change_show.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include <stdlib.h>
#include <string.h>

/* What stands in the heading, or in a section of its own. */
static bool is_elsewhere(const struct field *f)
{
    static const char *const NAMES[] = {"id",      "received_at", "channel", "symptom",
                                        "same_as", "reference",   NULL};
    for (const char *const *name = NAMES; *name; name++)
        if (strcmp(f->name, *name) == 0)
            return true;
    return false;
}

static void show_value(const struct view *v, const struct field *f, const json_t *value)
{
    char *text = pick_shown_json(value);
    view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s", f->title, *text ? text : "none");
    free(text);
}

/* What was not asked as it came, and is answered since, calls for nothing any more. */
static void show_unasked(const struct view *v, const json_t *said, const json_t *stands)
{
    if (pick_has(said, "harm"))
        return;
    if (pick_has(stands, "harm"))
        view_text(v, VIEW_PLAIN, 2, 4, "Harm: not said then; answered since, below");
    else if (harm_possible(stands))
        view_text(v, VIEW_HARM, 2, 4, "Harm: PERHAPS: words of it may mean harm, read them");
    else
        view_text(v, VIEW_HARM, 2, 4, "Harm: NOT ASKED");
}

static void show_fields(const struct view *v, const json_t *said, const json_t *stands)
{
    show_unasked(v, said, stands);
    for (const struct field *f = fields_all(); f->name; f++) {
        const json_t *value = fields_get(said, f);
        if (!value || is_elsewhere(f))
            continue;
        const char *quantity;
        json_t *number;
        if (json_is_object(value)) {
            json_object_foreach((json_t *)value, quantity, number)
            {
                char *text = pick_shown_json(number);
                view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s", quantity, text);
                free(text);
            }
        } else {
            show_value(v, f, value);
        }
    }
}

static void show_head(const struct view *v, const json_t *c)
{
    char received[VIEW_NUMBER], logged[VIEW_NUMBER];
    view_title(v, "%s  complaint %s: %s%s", pick_text(c, "case", "?"),
               pick_text(c, "complaint", "?"), pick_text(c, "symptom", "?"),
               pick_bool(c, "withdrawn", false) ? ", withdrawn" : "");
    view_label(v, "received", "%s by %s", view_when(pick_text(c, "received_at", "?"), received),
               pick_text(c, "channel", "?"));
    view_label(v, "logged", "%s by %s", view_when(pick_text(c, "logged_at", "?"), logged),
               pick_text(c, "logged_by", "somebody: it was not kept then"));
    if (pick_has(c, "reference"))
        view_label(v, "reference", "%s", pick_text(c, "reference", ""));
    if (pick_has(c, "same_as"))
        view_label(v, "joined to", "%s", pick_text(c, "same_as", "?"));
    standing_show(v, c, NULL);
}

static void show_taken(const struct view *v, const json_t *taken)
{
    size_t i, told = 0;
    const json_t *item;
    json_array_foreach(taken, i, item)
    {
        if (strcmp(pick_text(item, "field", "?"), "plant") == 0)
            continue; /* it is that of whoever took it */
        if (!told++)
            view_section(v, "Understood from the note");
        char *value = pick_shown(item, "value");
        view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s (\"%s\")",
                   fields_title(pick_text(item, "field", "?")), value, pick_text(item, "from", ""));
        free(value);
    }
}

static void show_contact(const struct view *v, const json_t *contact)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)contact, name, value)
    {
        view_label(v, name, "%s", json_string_value(value) ? json_string_value(value) : "");
    }
}

static void show_joined(const struct view *v, const json_t *joined)
{
    size_t i;
    const json_t *report;
    char when[VIEW_NUMBER];
    json_array_foreach(joined, i, report)
    {
        char *brought = pick_shown(report, "brought");
        const char *note = pick_text(json_object_get(report, "said"), "note", NULL);
        if (i == 0)
            view_section(v, "Reports joined to it");
        view_textf(v, VIEW_PLAIN, 2, 4, "%s, received %s, brought %s%s%s",
                   pick_text(report, "complaint", "?"),
                   view_when(pick_text(report, "received_at", "?"), when),
                   *brought ? brought : "nothing new", note ? ": " : "", note ? note : "");
        show_contact(v, json_object_get(report, "contact"));
        free(brought);
    }
}

/* "withdrawn", "brought back", else "Harm was nothing, is illness". */
static void add_change(struct text_buffer *out, const json_t *change)
{
    const char *field = pick_text(change, "field", "?"), *now = pick_text(change, "is", "");
    char *was = change_show_value(field, pick_text(change, "was", ""), "nothing");
    char *is = change_show_value(field, now, "nothing");
    if (strcmp(field, "withdrawn") == 0)
        text_append(out, *now ? "withdrawn" : "brought back");
    else
        text_appendf(out, "%s was %s, is %s", fields_title(field), was, is);
    free(was);
    free(is);
}

static void show_changes(const struct view *v, const json_t *changes)
{
    size_t i;
    const json_t *change;
    char when[VIEW_NUMBER];
    json_array_foreach(changes, i, change)
    {
        struct text_buffer what = {0};
        add_change(&what, change);
        if (i == 0)
            view_section(v, "Changes");
        view_textf(v, VIEW_PLAIN, 2, 4, "%s %s: %s (%s)",
                   view_when(pick_text(change, "at", "?"), when), pick_text(change, "by", "?"),
                   what.data, pick_text(change, "reason", "no reason given"));
        text_buffer_free(&what);
    }
}

static void show_attached(const struct view *v, const json_t *attachments)
{
    size_t i;
    const json_t *file;
    char when[VIEW_NUMBER], bytes[VIEW_NUMBER];
    if (json_array_size(attachments) > 0)
        view_section(v, "Attached to it");
    json_array_foreach(attachments, i, file)
    {
        view_textf(v, VIEW_PLAIN, 2, 4, "%lld: %s, %s, %s bytes (%s, %s)",
                   (long long)pick_int(file, "attachment", 0), pick_text(file, "name", "?"),
                   pick_text(file, "type", "?"), view_number(pick_number(file, "bytes", 0), bytes),
                   pick_text(file, "by", "?"), view_when(pick_text(file, "at", "?"), when));
    }
}

static void show_next(const struct view *v, const json_t *complaint)
{
    if (pick_has(complaint, "case"))
        view_textf(v, VIEW_DIM, 0, 0, "Next: oddloaf rank %s", pick_text(complaint, "case", "?"));
}

void complaint_show(const struct view *v, const json_t *complaint)
{
    show_head(v, complaint);
    show_contact(v, json_object_get(complaint, "contact"));
    view_section(v, "As sent");
    show_fields(v, json_object_get(complaint, "sent"), complaint);
    show_taken(v, json_object_get(complaint, "taken"));
    if (json_array_size(json_object_get(complaint, "joined")) +
            json_array_size(json_object_get(complaint, "changes")) >
        0) {
        view_section(v, "As it stands");
        show_fields(v, complaint, complaint);
    }
    show_joined(v, json_object_get(complaint, "joined"));
    show_changes(v, json_object_get(complaint, "changes"));
    show_attached(v, json_object_get(complaint, "attachments"));
    show_next(v, complaint);
}
