#include "show/told_view.h"
#include "base/plant_level.h"
#include "intake/fields.h"
#include <stdio.h>
#include <string.h>

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

enum { MINUTE = 16, OFFSET = 6, MINUTE_SIZE = 32 };

/* "2026-11-20 09:14 -05:00" of an instant, in the zone it was written in. */
static const char *minute_of(const json_t *object, const char *name, char out[static MINUTE_SIZE])
{
    const char *text = text_of(object, name);
    size_t length = strlen(text);
    text_clip(text, out, MINUTE + 1);
    if (length <= MINUTE)
        return out;
    out[10] = ' ';
    const char *offset = text[length - 1] == 'Z' ? "UTC" : text + length - OFFSET;
    snprintf(out + MINUTE, MINUTE_SIZE - MINUTE, " %s", offset);
    return out;
}

/* ---- the lot ---- */

void told_view_lot(struct view *view, const json_t *lot)
{
    char from[MINUTE_SIZE], to[MINUTE_SIZE], line[PLANT_LEVEL];
    if (!json_is_object(lot))
        return;
    const char *name = text_of(lot, "name");
    view_add(view, VIEW_ROW, "Product", 0, "%s%s%s", text_of(lot, "product"), *name ? ", " : "",
             name);
    if (*text_of(lot, "line"))
        view_add(view, VIEW_ROW, "Line", 0, "%s", plant_level_of(lot, "line", line));
    minute_of(lot, "packed_from", from);
    minute_of(lot, "packed_to", to);
    bool same_day = strncmp(from, to, 10) == 0,
         same_zone = same_day && strlen(to) > MINUTE && strcmp(from + MINUTE, to + MINUTE) == 0;
    if (*from)
        view_add(view, VIEW_ROW, "Packed", 0, "%.*s%s%s", same_zone ? MINUTE : MINUTE_SIZE, from,
                 *to ? " to " : "", *to && same_day ? to + 11 : to);
    if (*text_of(lot, "code_date"))
        view_add(view, VIEW_ROW, "Best by", 0, "%s", text_of(lot, "code_date"));
    view_add(view, VIEW_ROW, "Units", 0, "%" JSON_INTEGER_FORMAT,
             json_integer_value(json_object_get(lot, "units")));
}

/* ---- one complaint ---- */

static void append_value(struct text_buffer *out, const json_t *value);

/* "Smell: sour; Spots: 4", of others "aw: 0.95": as people name them, or read aloud. */
static void append_members(struct text_buffer *out, const json_t *object)
{
    const char *name;
    json_t *value;
    size_t before = out->length;
    json_object_foreach((json_t *)object, name, value)
    {
        text_append(out, out->length > before ? "; " : "");
        const struct field *seen = fields_member("observed", name);
        for (const char *p = seen ? seen->title : name; *p; p++)
            text_append_bytes(out, *p == '_' ? " " : p, 1);
        text_append(out, ": ");
        append_value(out, value);
    }
}

static void append_value(struct text_buffer *out, const json_t *value)
{
    size_t i;
    const json_t *item;
    if (json_is_string(value))
        text_append(out, json_string_value(value));
    else if (json_is_boolean(value))
        text_append(out, json_is_true(value) ? "yes" : "no");
    else if (json_is_number(value))
        text_appendf(out, "%.6g", json_number_value(value));
    else if (json_is_object(value))
        append_members(out, value);
    json_array_foreach(value, i, item)
    {
        text_append(out, i ? " and " : "");
        append_value(out, item);
    }
}

static void add_value(struct view *view, const char *label, const json_t *value)
{
    struct text_buffer text = {0};
    append_value(&text, value);
    if (text.length)
        view_add(view, VIEW_ROW, label, 0, "%s", text.data);
    text_buffer_free(&text);
}

/* Told here by its label, or elsewhere. */
static bool is_known(const char *name)
{
    static const char *const ELSEWHERE[] = {"observed", "again", "harm_possible", "harm_read",
                                            "received_said"};
    for (size_t i = 0; i < sizeof ELSEWHERE / sizeof *ELSEWHERE; i++)
        if (strcmp(name, ELSEWHERE[i]) == 0)
            return true;
    return fields_member("", name);
}

/* A field of a later time is better told by its bare name than kept back. */
static void add_others(struct view *view, const json_t *complaint)
{
    const char *field;
    json_t *value;
    json_object_foreach((json_t *)complaint, field, value)
    {
        if (!is_known(field))
            add_value(view, field, value);
    }
}

void told_view_complaint(struct view *view, const json_t *complaint)
{
    size_t i;
    const json_t *text;
    for (const struct field *f = fields_all(); f->name; f++) {
        bool apart = f->flags & (FIELD_OWN | FIELD_PERSON) || fields_group(f);
        if (!apart)
            add_value(view, f->title, fields_get(complaint, f));
    }
    if (json_is_true(json_object_get(complaint, "harm_possible")))
        view_add(view, VIEW_ROW, "Harm", 0, "perhaps: somebody must read it");
    add_value(view, "Seen", json_object_get(complaint, "observed"));
    add_others(view, complaint);
    if (*text_of(complaint, "note"))
        view_add(view, VIEW_ROW, "Note", 0, "\"%s\"", text_of(complaint, "note"));
    json_array_foreach(json_object_get(complaint, "again"), i, text)
        view_add(view, VIEW_ROW, "Told again", 0, "\"%s\"", json_string_value(text));
}

void told_view_case(struct view *view, const json_t *complaints, size_t count)
{
    size_t i;
    const json_t *complaint;
    json_array_foreach(complaints, i, complaint)
    {
        char when[MINUTE_SIZE];
        const char *by = text_of(complaint, "channel");
        view_add(view, VIEW_HEADING, NULL, 0, "Complaint received %s%s%s",
                 minute_of(complaint, "received_at", when), *by ? " by " : "", by);
        told_view_complaint(view, complaint);
    }
    if (count > i)
        view_add(view, VIEW_TEXT, NULL, 0, "%zu earlier %s of this case %s not repeated.",
                 count - i, count - i == 1 ? "complaint" : "complaints",
                 count - i == 1 ? "is" : "are");
}

/* Of a week they are listed, of another span counted. */
static size_t count_of(const json_t *list)
{
    return json_is_integer(list) ? (size_t)json_integer_value(list) : json_array_size(list);
}

size_t told_view_harm_reports(const json_t *report)
{
    const json_t *counted = json_object_get(report, "harm_reports");
    return count_of(counted ? counted : json_object_get(report, "harm")) +
           count_of(json_object_get(report, "harm_possible"));
}
