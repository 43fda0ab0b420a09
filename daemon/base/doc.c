#include "base/doc.h"
#include "base/jsonx.h"
#include "base/when.h"
#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- places ---- */

struct doc_place doc_top(struct doc *doc)
{
    return (struct doc_place){.doc = doc, .value = doc->root};
}

struct doc_place doc_member(const struct doc_place *object, const char *name)
{
    assert(object->doc && name);
    return (struct doc_place){object->doc, object, name, 0, json_object_get(object->value, name)};
}

struct doc_place doc_element(const struct doc_place *list, size_t index)
{
    assert(list->doc);
    return (struct doc_place){list->doc, list, NULL, index, json_array_get(list->value, index)};
}

/* As an RFC 6901 pointer. */
static void append_pointer(struct text_buffer *out, const struct doc_place *place)
{
    if (!place->parent)
        return;
    append_pointer(out, place->parent);
    if (!place->name) {
        text_appendf(out, "/%zu", place->index);
        return;
    }
    text_append(out, "/");
    for (const char *p = place->name; *p; p++) {
        if (*p == '~' || *p == '/')
            text_append(out, *p == '~' ? "~0" : "~1");
        else
            text_append_bytes(out, p, 1);
    }
}

/* ---- faults ---- */

void doc_pass_on(struct doc *doc, const struct error *fault)
{
    assert(fault->code < 0 && fault->text[0]);
    doc->fault_count++;
    if (!doc->first.code)
        doc->first = *fault;
    if (doc->report)
        doc->report(doc->arg, fault);
}

/* A value that reads on one line is shown. */
static char *shown_value(const json_t *value)
{
    if (json_is_string(value))
        return xstrdup(json_string_value(value));
    return !value || json_is_object(value) || json_is_array(value) ? NULL : jsonx_dump(value);
}

void doc_fault_as(const struct doc_place *place, const struct error *why)
{
    assert(place->doc && why->code < 0);
    struct doc *doc = place->doc;
    struct error fault = {0};
    struct text_buffer pointer = {0};
    long line = 0, column = 0;
    char *shown = shown_value(place->value);
    text_append(&pointer, "");
    append_pointer(&pointer, place);
    jsonx_locate(doc->text.data, doc->text.length, pointer.data, &line, &column);
    error_set(&fault, why->code, "%s", why->text);
    error_at(&fault, doc->source, line, column);
    error_field(&fault, pointer.data, shown);
    if (why->hint[0])
        error_hint(&fault, "%s", why->hint);
    doc_pass_on(doc, &fault);
    text_buffer_free(&pointer);
    free(shown);
}

void doc_fault(const struct doc_place *place, const char *format, ...)
{
    struct error why = {0};
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    error_set(&why, ERROR_INVALID, "%s", text.data);
    text_buffer_free(&text);
    doc_fault_as(place, &why);
}

/* "one of a, b, c" in a text or hint. */
static char *joined(const char *const *words)
{
    struct text_buffer list = {0};
    for (size_t i = 0; words[i]; i++)
        text_appendf(&list, "%s%s", i ? ", " : "", words[i]);
    return text_take(&list);
}

/* ---- values ---- */

static void *slot(void *into, const struct doc_row *row, size_t size)
{
    assert(row->size == size);
    (void)size; /* where assertions are left out */
    return (char *)into + row->at;
}

static bool refuse_range(const struct doc_place *place, const struct doc_row *row, const char *what)
{
    if (row->low == 0 && row->high == 0)
        doc_fault(place, "must be %s", what);
    else if (isinf(row->high))
        doc_fault(place, "must be %s of %.15g or more", what, row->low);
    else
        doc_fault(place, "must be %s from %.15g to %.15g", what, row->low, row->high);
    return false;
}

static bool within(const struct doc_row *row, double number)
{
    return isfinite(number) &&
           ((row->low == 0 && row->high == 0) || (number >= row->low && number <= row->high));
}

static bool read_number(const struct doc_place *place, const struct doc_row *row, void *into)
{
    double number = json_number_value(place->value);
    if (!json_is_number(place->value) || !within(row, number))
        return refuse_range(place, row, "a number");
    *(double *)slot(into, row, sizeof(double)) = number;
    return true;
}

static bool read_whole(const struct doc_place *place, const struct doc_row *row, void *into)
{
    double number = json_number_value(place->value);
    if (!json_is_number(place->value) || !within(row, number) || number != floor(number) ||
        fabs(number) > INT32_MAX)
        return refuse_range(place, row, "a whole number");
    *(int *)slot(into, row, sizeof(int)) = (int)number;
    return true;
}

static bool read_flag(const struct doc_place *place, const struct doc_row *row, void *into)
{
    if (!json_is_boolean(place->value)) {
        doc_fault(place, "must be true or false");
        return false;
    }
    *(bool *)slot(into, row, sizeof(bool)) = json_is_true(place->value);
    return true;
}

/* -1 if it is none of them. */
static int index_of(const char *const *words, const char *word)
{
    for (int i = 0; words[i]; i++)
        if (strcmp(words[i], word) == 0)
            return i;
    return -1;
}

/* NULL after a fault. */
static const char *read_text(const struct doc_place *place, const struct doc_row *row)
{
    const char *text = json_string_value(place->value);
    if (row->words && (!text || index_of(row->words, text) < 0)) {
        char *list = joined(row->words);
        doc_fault(place, "must be one of %s", list);
        free(list);
        return NULL;
    }
    if (text && (*text || row->empty))
        return text;
    doc_fault(place, row->empty ? "must be a text" : "must be a text that says something");
    return NULL;
}

static bool read_chars(const struct doc_place *place, const struct doc_row *row, void *into)
{
    const char *text = read_text(place, row);
    if (!text)
        return false;
    if (strlen(text) >= row->size) {
        doc_fault(place, "is longer than %zu bytes", row->size - 1);
        return false;
    }
    text_clip(text, slot(into, row, row->size), row->size);
    return true;
}

static bool read_day(const struct doc_place *place, const struct doc_row *row, void *into)
{
    struct error why = {0};
    const char *text = json_string_value(place->value);
    if (!text) {
        doc_fault(place, "must be a date like 2026-11-20");
        return false;
    }
    if (day_parse(text, slot(into, row, sizeof(int32_t)), &why) == 0)
        return true;
    doc_fault_as(place, &why);
    return false;
}

/* `has`: "be a list of", "have"; `one`, `many`: what is counted. */
static bool count_fits(const struct doc_place *place, const struct doc_row *row, size_t count,
                       const char *has, const char *one, const char *many)
{
    if (within(row, (double)count))
        return true;
    const char *least = row->low == 1 ? one : many;
    if (row->low == row->high)
        doc_fault(place, "must %s %.15g %s", has, row->low, least);
    else if (isinf(row->high))
        doc_fault(place, "must %s %.15g %s or more", has, row->low, least);
    else
        doc_fault(place, "must %s %.15g to %.15g %s", has, row->low, row->high, many);
    return false;
}

static bool is_list(const struct doc_place *place, const struct doc_row *row, const char *one,
                    const char *many)
{
    if (json_is_array(place->value))
        return count_fits(place, row, json_array_size(place->value), "be a list of", one, many);
    doc_fault(place, "must be a list");
    return false;
}

static bool is_object(const struct doc_place *place)
{
    if (!json_is_object(place->value))
        doc_fault(place, "must be an object");
    return json_is_object(place->value);
}

static bool read_texts(const struct doc_place *place, const struct doc_row *row, void *into)
{
    static const struct doc_row TEXT = {.kind = DOC_TEXT};
    bool good = is_list(place, row, "text", "texts");
    for (size_t i = 0; good && i < json_array_size(place->value); i++) {
        struct doc_place text = doc_element(place, i);
        good = read_text(&text, &TEXT) != NULL;
    }
    if (good)
        *(const json_t **)(void *)((char *)into + row->at) = place->value;
    return good;
}

static void read_elements(const struct doc_place *place, const struct doc_row *row, void *part)
{
    assert(row->each);
    for (size_t i = 0; is_list(place, row, "entry", "entries") && i < json_array_size(place->value);
         i++) {
        struct doc_place element = doc_element(place, i);
        row->each(&element, part);
    }
}

static void read_map(const struct doc_place *place, const struct doc_row *row, void *part)
{
    assert(row->each);
    const char *name;
    json_t *value;
    if (!is_object(place) ||
        !count_fits(place, row, json_object_size(place->value), "have", "member", "members"))
        return;
    json_object_foreach((json_t *)(uintptr_t)place->value, name, value)
    {
        struct doc_place member = {place->doc, place, name, 0, value};
        row->each(&member, part);
    }
}

bool doc_value(const struct doc_place *place, const struct doc_row *row, void *into)
{
    size_t before = place->doc->fault_count;
    void *part = (char *)into + row->at;
    const char *text;
    switch (row->kind) {
    case DOC_ANY:
        break;
    case DOC_TEXT:
        text = read_text(place, row);
        if (text)
            *(const char **)slot(into, row, sizeof text) = text;
        break;
    case DOC_CHARS:
        return read_chars(place, row, into);
    case DOC_WORD:
        text = read_text(place, row);
        if (text)
            *(int *)slot(into, row, sizeof(int)) = index_of(row->words, text);
        break;
    case DOC_NUMBER:
        return read_number(place, row, into);
    case DOC_WHOLE:
        return read_whole(place, row, into);
    case DOC_FLAG:
        return read_flag(place, row, into);
    case DOC_DAY:
        return read_day(place, row, into);
    case DOC_TEXTS:
        return read_texts(place, row, into);
    case DOC_OBJECT:
        return doc_read(place, row->rows, part);
    case DOC_LIST:
        read_elements(place, row, part);
        break;
    case DOC_MAP:
        read_map(place, row, part);
        break;
    case DOC_OTHER:
        assert(row->each);
        row->each(place, part);
        break;
    }
    return place->doc->fault_count == before;
}

/* ---- objects ---- */

static const struct doc_row *row_of(const struct doc_row *rows, const char *name)
{
    while (rows->name && strcmp(rows->name, name) != 0)
        rows++;
    return rows->name ? rows : NULL;
}

static void refuse_others(const struct doc_place *object, const struct doc_row *rows)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)object->value, name, value)
    {
        if (row_of(rows, name))
            continue;
        struct doc_place member = {object->doc, object, name, 0, value};
        struct error why = {0};
        struct text_buffer known = {0};
        for (size_t i = 0; rows[i].name; i++)
            text_appendf(&known, "%s%s", i ? ", " : "", rows[i].name);
        error_set(&why, ERROR_INVALID, "no such member");
        error_hint(&why, "known here: %s", known.data ? known.data : "none");
        doc_fault_as(&member, &why);
        text_buffer_free(&known);
    }
}

bool doc_read(const struct doc_place *object, const struct doc_row *rows, void *into)
{
    assert(object->doc && rows);
    size_t before = object->doc->fault_count;
    if (!is_object(object))
        return false;
    refuse_others(object, rows);
    for (; rows->name; rows++) {
        struct doc_place member = doc_member(object, rows->name);
        if (member.value)
            doc_value(&member, rows, into);
        else if (rows->required)
            doc_fault(&member, "'%s' is missing", rows->name);
    }
    return object->doc->fault_count == before;
}

/* ---- files ---- */

static void forget(struct doc *doc)
{
    json_decref(doc->root);
    text_buffer_free(&doc->text);
    doc->root = NULL;
}

int doc_parse(struct doc *doc, const char *source, const char *text, size_t length)
{
    assert(text || length == 0);
    struct error why = {0};
    forget(doc);
    text_append(&doc->text, "");
    text_append_bytes(&doc->text, text, length);
    doc->source = source;
    doc->fault_count = 0;
    int rc = jsonx_parse(doc->text.data, length, &doc->root, &why);
    if (rc) {
        error_at(&why, source, 0, 0);
        doc_pass_on(doc, &why);
        return rc;
    }
    struct doc_place top = doc_top(doc);
    if (is_object(&top))
        return 0;
    forget(doc);
    return ERROR_INVALID;
}

int doc_open(struct doc *doc, const char *path, bool optional)
{
    struct text_buffer text = {0};
    struct error why = {0};
    forget(doc);
    int rc = jsonx_read(path, JSONX_BYTES, &text, &why);
    if (rc == 0)
        rc = doc_parse(doc, path, text.data ? text.data : "", text.length);
    else if (rc != ERROR_NOT_FOUND || !optional)
        doc_pass_on(doc, &why);
    text_buffer_free(&text);
    return rc;
}

void doc_share(struct doc *doc, const char *source, const json_t *root)
{
    assert(json_is_object(root));
    forget(doc);
    doc->source = source;
    doc->fault_count = 0;
    doc->root = json_incref((json_t *)(uintptr_t)root); /* only its count changes */
}

void doc_close(struct doc *doc)
{
    forget(doc);
}
