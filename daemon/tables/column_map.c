#include "tables/column_map.h"
#include "base/jsonx.h"
#include "base/when.h"
#include "intake/fields.h"
#include "tables/column_map_inside.h"
#include "tables/date_form.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- life ---- */

static void start_part(struct column_part *part, int kind)
{
    *part = (struct column_part){.kind = kind,
                                 .columns = json_object(),
                                 .shown = json_object(),
                                 .values = json_object(),
                                 .dates = json_object(),
                                 .constants = json_object()};
}

static void end_part(struct column_part *part)
{
    json_decref(part->columns);
    json_decref(part->shown);
    json_decref(part->values);
    json_decref(part->dates);
    json_decref(part->constants);
    json_decref(part->kept);
}

static struct column_map *new_map(int kind)
{
    struct column_map *map = xcalloc(1, sizeof *map);
    map->units = json_object();
    map->decimal[0] = '.';
    start_part(&map->parts[0], kind);
    map->count = 1;
    return map;
}

struct column_map *column_map_new(void)
{
    return new_map(COLUMN_COMPLAINTS);
}

void column_map_free(struct column_map *map)
{
    if (!map)
        return;
    for (int i = 0; i < map->count; i++)
        end_part(&map->parts[i]);
    json_decref(map->units);
    free(map);
}

/* ---- reading a file ---- */

struct reading {
    struct column_map *map;
    const struct catalogue *catalogue;
    const struct column_map_source *source; /* of records, or NULL */
};

/* The target that a text names, or a fault at its place. */
static bool read_target(const struct doc_place *place, const struct column_part *part,
                        const char *text, struct column_target *ret)
{
    const struct reading *reading = place->doc->context;
    struct error why = {0};
    if (column_map_target(part, reading->catalogue, text, ret, &why) == 0)
        return true;
    doc_fault_as(place, &why);
    return false;
}

static void take_target(struct column_part *part, const char *column, const char *text,
                        const struct column_target *target)
{
    char key[COLUMN_KEY];
    text_fold(column, key, sizeof key);
    json_t *targets = json_object_get(part->columns, key);
    if (!targets) {
        targets = json_array();
        json_object_set_new(part->columns, key, targets);
    }
    json_array_append_new(targets,
                          json_string(part->kind == COLUMN_COMPLAINTS ? target->name : text));
    if (!json_object_get(part->shown, target->name))
        json_object_set_new(part->shown, target->name, json_string(column));
}

static void add_target(const struct doc_place *place, struct column_part *part, const char *column)
{
    struct column_target target;
    const char *text = json_string_value(place->value);
    if (!text)
        doc_fault(place, "must name a column of ours");
    else if (strcmp(text, "-") != 0 && read_target(place, part, text, &target))
        take_target(part, column, text, &target);
}

/* A later map says otherwise of a column: what was said before goes. */
static void start_column(struct column_part *part, const char *column)
{
    char key[COLUMN_KEY];
    json_object_set_new(part->columns, text_fold(column, key, sizeof key), json_array());
}

static void read_column(const struct doc_place *place, void *into)
{
    struct column_part *part = into;
    start_column(part, place->name);
    if (!json_is_array(place->value) || part->kind == COLUMN_COMPLAINTS) {
        add_target(place, part, place->name);
        return;
    }
    for (size_t i = 0; i < json_array_size(place->value); i++) {
        struct doc_place one = doc_element(place, i);
        add_target(&one, part, place->name);
    }
}

static void read_words(const struct doc_place *place, void *into)
{
    struct column_part *part = into;
    struct column_target target;
    const char *word;
    json_t *ours;
    if (!read_target(place, part, place->name, &target))
        return;
    if (!json_is_object(place->value)) {
        doc_fault(place, "must be an object of words");
        return;
    }
    json_t *folded = json_object();
    json_object_foreach((json_t *)(uintptr_t)place->value, word, ours)
    {
        char key[COLUMN_KEY];
        struct doc_place one = doc_member(place, word);
        if (json_is_string(ours))
            json_object_set(folded, text_fold(word, key, sizeof key), ours);
        else
            doc_fault(&one, "must be a text");
    }
    json_object_set_new(part->values, target.name, folded);
}

static void read_date(const struct doc_place *place, void *into)
{
    struct column_part *part = into;
    struct column_target target;
    struct error why = {0};
    const char *form = json_string_value(place->value);
    bool timed = false;
    if (!read_target(place, part, place->name, &target))
        return;
    if (target.type != COLUMN_DAY && target.type != COLUMN_TIME) {
        doc_fault(place, "is no field of a date");
    } else if (!form || !date_form_is(form, &timed)) {
        error_hint(&why, "YYYY or YY, MM, DD, and with a time hh and mm: \"DD.MM.YYYY\"");
        error_set(&why, ERROR_INVALID, "does not say how a date is written");
        doc_fault_as(place, &why);
    } else if (part->kind != COLUMN_COMPLAINTS && target.type == COLUMN_TIME && !timed) {
        error_hint(&why, "join a column of the time of day to it: two columns may go to one");
        error_set(&why, ERROR_INVALID, "is a time: the form needs hh and mm");
        doc_fault_as(place, &why);
    } else {
        json_object_set(part->dates, target.name, (json_t *)(uintptr_t)place->value);
    }
}

static void read_constant(const struct doc_place *place, void *into)
{
    struct column_part *part = into;
    struct column_target target;
    char number[40];
    const char *text = json_string_value(place->value);
    if (json_is_number(place->value)) {
        snprintf(number, sizeof number, "%.15g", json_number_value(place->value));
        text = number;
    }
    if (!text)
        doc_fault(place, "must be a text or a number");
    else if (read_target(place, part, place->name, &target))
        json_object_set_new(part->constants, place->name, json_string(text));
}

static void read_need(const struct doc_place *place, void *into)
{
    struct column_part *part = into;
    struct column_target target;
    const char *text = json_string_value(place->value);
    if (!text) {
        doc_fault(place, "must name a column of ours");
        return;
    }
    if (!read_target(place, part, text, &target))
        return;
    if (!part->kept)
        part->kept = json_array();
    json_array_append_new(part->kept, json_string(target.name));
    part->needs = part->kept;
}

#define COLUMN_ROWS                                                                                \
    {.name = "columns", .kind = DOC_MAP, .each = read_column},                                     \
        {.name = "values", .kind = DOC_MAP, .each = read_words},                                   \
    {                                                                                              \
        .name = "dates", .kind = DOC_MAP, .each = read_date                                        \
    }
#define RECORD_ROWS                                                                                \
    COLUMN_ROWS, {.name = "constants", .kind = DOC_MAP, .each = read_constant},                    \
        {.name = "needs", .kind = DOC_LIST, .each = read_need},                                    \
    {                                                                                              \
        "header", DOC_WHOLE, DOC_AT(struct column_part, header), .low = 1, .high = 1000            \
    }

static const char *const KINDS[] = {
    [RECORD_PRODUCTS] = "products", [RECORD_TARGETS] = "targets",   [RECORD_LOTS] = "lots",
    [RECORD_MIXES] = "mixes",       [RECORD_USES] = "uses",         [RECORD_READINGS] = "readings",
    [RECORD_PLANTLOG] = "plantlog", [RECORD_DISPATCH] = "dispatch", NULL};
#define KIND_ROW                                                                                   \
    {                                                                                              \
        "kind", DOC_WORD, DOC_AT(struct column_part, kind), .words = KINDS                         \
    }

/* ---- the whole of a map of records ---- */

static void check_columns(const struct doc_place *object, const struct column_part *part)
{
    if (json_object_size(part->columns) == 0)
        doc_fault(object, "needs \"columns\", an object of the file's columns");
}

static void read_kind(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        {"kind", DOC_WORD, DOC_AT(struct column_part, kind), .words = KINDS, .required = true},
        RECORD_ROWS,
        {0}};
    struct column_map *map = into;
    if (map->count == COLUMN_PARTS) {
        doc_fault(place, "more than %d kinds", COLUMN_PARTS);
        return;
    }
    struct column_part *part = &map->parts[map->count++];
    start_part(part, RECORD_LOTS);
    if (doc_read(place, ROWS, part))
        check_columns(place, part);
}

static void read_unit(const struct doc_place *place, void *into)
{
    struct column_map *map = into;
    char key[COLUMN_KEY];
    json_object_set(map->units, text_fold(place->name, key, sizeof key),
                    (json_t *)(uintptr_t)place->value);
    if (!json_is_string(place->value))
        doc_fault(place, "must be a unit");
}

static void read_sign(const struct doc_place *place, void *into)
{
    char *sign = into;
    const char *text = json_string_value(place->value);
    if (text && strlen(text) == 1 && strchr(",.' ", *text))
        *sign = *text;
    else
        doc_fault(place, "must be a comma, a point, an apostrophe or a blank");
}

static void read_zone(const struct doc_place *place, void *into)
{
    char *zone = into;
    struct tz *tz = NULL;
    struct error why = {0};
    text_clip(json_is_string(place->value) ? json_string_value(place->value) : "", zone, 64);
    if (!*zone || tz_open(zone, &tz, &why))
        doc_fault(place, "is no time zone known here");
    tz_close(tz);
}

#define WHOLE_ROWS                                                                                 \
    {"zone", DOC_OTHER, DOC_AT(struct column_map, zone), .each = read_zone},                       \
        {"decimal", DOC_OTHER, DOC_AT(struct column_map, decimal), .each = read_sign},             \
        {"sheet", DOC_CHARS, DOC_AT(struct column_map, sheet)},                                    \
        {"thousands", DOC_OTHER, DOC_AT(struct column_map, thousands), .each = read_sign},         \
    {                                                                                              \
        .name = "units", .kind = DOC_MAP, .each = read_unit                                        \
    }
/* a map of one kind is read as its part and as the whole by one table */
_Static_assert(offsetof(struct column_map, parts) == 0, "the first part begins the map");

static void read_records(struct doc *doc, struct reading *reading)
{
    static const struct doc_row LISTED[] = {
        WHOLE_ROWS,
        {.name = "kinds", .kind = DOC_LIST, .each = read_kind, .low = 1, .high = COLUMN_PARTS},
        {0}};
    static const struct doc_row ONE[] = {KIND_ROW, RECORD_ROWS, WHOLE_ROWS, {0}};
    struct doc_place top = doc_top(doc);
    struct column_map *map = reading->map;
    struct column_part *first = &map->parts[0];
    const enum record_kind *kind = reading->source->kind;
    if (json_object_get(doc->root, "kinds")) {
        end_part(first);
        map->count = 0;
        doc_read(&top, LISTED, map);
    } else if (json_object_get(doc->root, "kind") || kind) {
        if (kind)
            first->kind = (int)*kind;
        if (doc_read(&top, ONE, map))
            check_columns(&top, first);
    } else {
        doc_fault(&top, "says no \"kind\" of record");
    }
    if (*map->thousands == *map->decimal)
        doc_fault(&top, "one sign for decimals and thousands");
}

static void keep_first(void *arg, const struct error *fault)
{
    const struct column_map_source *source = arg;
    if (source->report)
        source->report(source->arg, fault);
}

int column_map_load(const struct column_map_source *source, struct column_map **ret,
                    struct error *err)
{
    struct reading reading = {
        .map = new_map(RECORD_LOTS), .catalogue = source->catalogue, .source = source};
    struct doc doc = {.report = keep_first, .arg = (void *)(uintptr_t)source, .context = &reading};
    if (source->text ? doc_parse(&doc, source->path, source->text, strlen(source->text)) == 0
                     : doc_open(&doc, source->path, false) == 0)
        read_records(&doc, &reading);
    int rc = (int)doc.first.code;
    if (rc && err && !err->code)
        *err = doc.first;
    doc_close(&doc);
    if (rc)
        column_map_free(reading.map);
    else
        *ret = reading.map;
    return rc;
}

/* ---- complaints ---- */

static int add_file(struct column_map *map, const char *path, struct error *err)
{
    static const struct doc_row ROWS[] = {COLUMN_ROWS, {0}};
    struct reading reading = {.map = map};
    struct doc doc = {.context = &reading};
    if (doc_open(&doc, path, false) == 0) {
        struct doc_place top = doc_top(&doc);
        if (!json_is_object(json_object_get(doc.root, "columns")))
            doc_fault(&top, "must be an object with \"columns\"");
        else
            doc_read(&top, ROWS, &map->parts[0]);
    }
    int rc = (int)doc.first.code;
    if (rc && err && !err->code)
        *err = doc.first;
    doc_close(&doc);
    return rc;
}

static int add_pair(struct column_map *map, const char *column, const char *field,
                    struct error *err)
{
    struct column_target target;
    start_column(&map->parts[0], column);
    if (strcmp(field, "-") == 0)
        return 0;
    int rc = column_map_target(&map->parts[0], NULL, field, &target, err);
    if (rc)
        error_field(err, column, field);
    else
        take_target(&map->parts[0], column, field, &target);
    return rc;
}

int column_map_add(struct column_map *map, const char *text, struct error *err)
{
    const char *equals = strrchr(text, '=');
    if (!equals)
        return add_file(map, text, err);
    char *column = xstrndup(text, (size_t)(equals - text));
    int rc = add_pair(map, column, equals + 1, err);
    free(column);
    return rc;
}

const char *column_map_field(const struct column_map *map, const char *column, bool *ret_skip)
{
    const struct column_part *part = &map->parts[0];
    char key[COLUMN_KEY] = "";
    char plain[COLUMN_KEY] = "";
    text_fold(column, key, sizeof key);
    const json_t *targets = json_object_get(part->columns, key);
    if (!targets) {
        /* a field's own name, blanks for its underscores; kept, so that the name outlives us */
        struct column_target target;
        memcpy(plain, key, sizeof plain);
        for (char *p = plain; *p; p++)
            if (*p == ' ')
                *p = '_';
        if (column_map_target(part, NULL, plain, &target, NULL))
            return NULL;
        json_object_set_new(part->columns, key, json_pack("[s]", target.name));
        targets = json_object_get(part->columns, key);
    }
    *ret_skip = json_array_size(targets) == 0;
    return json_string_value(json_array_get(targets, 0));
}

int column_map_date(const struct column_map *map, const char *field, const char *cell,
                    bool *ret_declared, char out[static COLUMN_DATE], struct error *err)
{
    struct date_form_read read;
    char date[16];
    const char *form = json_string_value(json_object_get(map->parts[0].dates, field));
    *ret_declared = form && *cell;
    if (!*ret_declared)
        return 0;
    if (!date_form_read(form, cell, &read)) {
        error_field(err, field, cell);
        return error_set(err, ERROR_INVALID, "is no date written %s, as the map says", form);
    }
    day_format(read.day, date);
    if (read.hour >= 0)
        snprintf(out, COLUMN_DATE, "%s %02d:%02d", date, read.hour, read.minute);
    else
        snprintf(out, COLUMN_DATE, "%s", date);
    return 0;
}

const char *column_map_word(const struct column_part *part, const char *name, const char *value)
{
    char key[COLUMN_KEY];
    const json_t *words = json_object_get(part->values, name);
    const char *ours = json_string_value(json_object_get(words, text_fold(value, key, sizeof key)));
    return ours ? ours : value;
}

const char *column_map_value(const struct column_map *map, const char *field, const char *value)
{
    return column_map_word(&map->parts[0], field, value);
}

/* ---- records ---- */

int column_map_parts(const struct column_map *map)
{
    return map->count;
}

enum record_kind column_map_kind(const struct column_map *map, int part)
{
    return (enum record_kind)map->parts[part].kind;
}

const char *column_map_sheet(const struct column_map *map)
{
    return *map->sheet ? map->sheet : NULL;
}

char column_map_decimal(const struct column_map *map)
{
    return *map->decimal;
}

const char *column_map_column(const struct column_map *map, int part, const char *name)
{
    char unit[COLUMN_UNIT], bare[COLUMN_NAME];
    size_t length = strlen(name);
    column_map_unit(name, unit, &length);
    snprintf(bare, sizeof bare, "%.*s", (int)length, name);
    return json_string_value(json_object_get(map->parts[part].shown, bare));
}
