/* NDJSON: one object a line. Names are read once and remembered; a row's header is made of the
 * members it has. */
#include "base/hash.h"
#include "base/text.h"
#include "records/import_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void import_names_free(struct import *im)
{
    for (int i = 0; im->names && i < IMPORT_NAMES; i++)
        free(im->names[i].text);
    free(im->names);
}

/* The column a member's name means; NULL if refused. */
static const struct header_column *column_of(struct import *im, const char *text,
                                             struct header_column *scratch)
{
    struct error why = {0};
    struct import_name *name = &im->names[hash_text(text) % IMPORT_NAMES];
    if (name->text && strcmp(name->text, text) == 0)
        return &name->column;
    if (header_column(im->catalogue, im->kind, text, scratch, &why)) {
        import_fault(im, text, text, why.text);
        return NULL;
    }
    free(name->text);
    name->text = xstrdup(text);
    name->column = *scratch;
    return &name->column;
}

/* Text is copied into `room`, since checks may change it. */
static struct check_value value_of(const json_t *json, struct text_buffer *room)
{
    struct check_value value = {.form = CHECK_OTHER};
    switch (json_typeof(json)) {
    case JSON_STRING:
        value.form = CHECK_TEXT;
        value.length = json_string_length(json);
        value.text = room->data + room->length;
        text_append_bytes(room, json_string_value(json), value.length + 1);
        break;
    case JSON_INTEGER:
    case JSON_REAL:
        value.form = CHECK_NUMBER;
        value.number = json_number_value(json);
        break;
    case JSON_TRUE:
    case JSON_FALSE:
        value.form = CHECK_TRUTH;
        value.number = json_is_true(json);
        break;
    case JSON_NULL:
        value.form = CHECK_ABSENT;
        break;
    default:
        break;
    }
    return value;
}

static void object_row(struct import *im, const json_t *row, size_t line_bytes)
{
    struct check_value values[HEADER_COLUMNS];
    struct header_column scratch;
    struct text_buffer room = {0};
    const char *name;
    json_t *member;
    /* no text of the row is longer than its line: the buffer never moves */
    text_append_bytes(&room, "", 1);
    while (room.capacity <= 2 * line_bytes + HEADER_COLUMNS)
        text_append_bytes(&room, "                                ", 32);
    text_reset(&room);
    im->header.count = 0;
    json_object_foreach((json_t *)(uintptr_t)row, name, member)
    {
        const struct header_column *column = column_of(im, name, &scratch);
        if (!column)
            continue;
        if (im->header.count == HEADER_COLUMNS) {
            import_fault(im, NULL, NULL, "more than 200 members");
            break;
        }
        values[im->header.count] = value_of(member, &room);
        if (values[im->header.count].form == CHECK_ABSENT)
            continue;
        if (values[im->header.count].form == CHECK_OTHER)
            import_fault(im, name, NULL, "must be a text or a number");
        im->header.columns[im->header.count++] = *column;
    }
    if (!im->row_refused && !header_settle(&im->header, im->kind, import_header_fault, im))
        import_row(im, values);
    text_buffer_free(&room);
}

/* A row that its sender could not read, {"refused":[{"column","value","reason"}]}: refused, as it
 * says. False if the row is another. */
static bool refused_row(struct import *im, const json_t *row)
{
    const json_t *refused = json_object_get(row, "refused"), *one;
    size_t i;
    if (!json_is_array(refused))
        return false;
    json_array_foreach((json_t *)(uintptr_t)refused, i, one)
    {
        const char *reason = json_string_value(json_object_get(one, "reason"));
        import_fault(im, json_string_value(json_object_get(one, "column")),
                     json_string_value(json_object_get(one, "value")),
                     reason ? reason : "could not be read by its sender");
    }
    if (!im->row_refused)
        import_fault(im, NULL, NULL, "could not be read by its sender");
    return true;
}

static bool is_blank(const char *line, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r')
            return false;
    return true;
}

void import_json_line(void *arg, const char *line, size_t length, long number)
{
    struct import *im = arg;
    struct error why = {0};
    json_t *row = NULL;
    if (number == 1 && length >= 3 && memcmp(line, "\xEF\xBB\xBF", 3) == 0) {
        line += 3;
        length -= 3;
    }
    if (im->code || (line && is_blank(line, length)))
        return;
    im->line = number;
    im->row_refused = false;
    im->counts.read++;
    if (!line)
        import_fault(im, NULL, NULL, "the line is longer than 65536 bytes");
    else if (jsonx_parse(line, length, &row, &why))
        import_fault(im, NULL, NULL, why.text);
    else if (!json_is_object(row))
        import_fault(im, NULL, NULL, "must be an object");
    else if (!refused_row(im, row))
        object_row(im, row, length);
    if (im->row_refused)
        im->counts.refused++;
    json_decref(row);
}
