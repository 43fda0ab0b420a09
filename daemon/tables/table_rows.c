#include "tables/table_rows.h"
#include "base/jsonx.h"
#include "base/units.h"
#include "tables/cell_number.h"
#include "tables/column_map_inside.h"
#include "tables/csv_rows.h"
#include "tables/date_form.h"
#include "tables/lines.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TARGETS = 200, SOURCES = 4, CELL = 4096 };

/* A column of ours, and where its cells come from. */
struct filled {
    struct column_target target;
    size_t from[SOURCES];
    int count;
    const char *form;     /* of its dates; NULL: none declared */
    const char *constant; /* where the row has nothing; NULL */
    const char *column;   /* as the file calls it, for refusals */
    bool needed;          /* a row without it is passed over */
};

struct table_rows {
    const struct column_map *map;
    const struct column_part *part;
    const struct tz *tz;
    struct tz *own_tz;
    struct lines lines;
    struct csv_rows *csv;
    struct filled filled[TARGETS];
    int count;
    size_t width; /* columns of the file */
    bool headed, ended;
    struct text_buffer unused;
    struct text_buffer *out;
    long written;    /* lines of `out` so far */
    json_t *refused; /* of the row at hand */
};

/* ---- out ---- */

static void put(struct table_rows *t, long line, const json_t *row)
{
    while (t->written < line - 1) {
        text_append(t->out, "\n");
        t->written++;
    }
    char *text = jsonx_dump(row);
    text_append(t->out, text);
    text_append(t->out, "\n");
    t->written++;
    free(text);
}

static void refuse(struct table_rows *t, const char *column, const char *value, const char *reason)
{
    char shown[128];
    text_clip(value, shown, sizeof shown);
    json_array_append_new(
        t->refused, json_pack("{ss ss ss}", "column", column, "value", shown, "reason", reason));
}

static void put_refused(struct table_rows *t, long line)
{
    json_t *row = json_pack("{sO}", "refused", t->refused);
    put(t, line, row);
    json_decref(row);
}

/* ---- the header ---- */

/* What a column goes to: by the map, by the map without its unit, by its own name. */
static const json_t *targets_of(const struct table_rows *t, const char *column, char *ret_unit,
                                json_t **ret_own)
{
    char key[COLUMN_KEY], unit[COLUMN_UNIT], plain[COLUMN_KEY];
    struct column_target own;
    size_t bare = 0;
    const json_t *targets = json_object_get(t->part->columns, text_fold(column, key, sizeof key));
    ret_unit[0] = '\0';
    if (targets)
        return targets;
    if (column_map_unit(column, unit, &bare)) {
        char *name = xstrndup(column, bare);
        targets = json_object_get(t->part->columns, text_fold(name, key, sizeof key));
        free(name);
        if (targets)
            memcpy(ret_unit, unit, COLUMN_UNIT);
        if (targets)
            return targets;
    }
    text_fold(column, plain, sizeof plain);
    if (record_kind_column(record_kind_table((enum record_kind)t->part->kind), plain) < 0 ||
        column_map_target(t->part, NULL, plain, &own, NULL))
        return NULL;
    return *ret_own = json_pack("[s]", own.name);
}

static struct filled *filled_of(struct table_rows *t, const struct column_target *target)
{
    for (int i = 0; i < t->count; i++)
        if (strcmp(t->filled[i].target.name, target->name) == 0)
            return &t->filled[i];
    if (t->count == TARGETS)
        return NULL;
    t->filled[t->count] = (struct filled){.target = *target};
    return &t->filled[t->count++];
}

static void take_column(struct table_rows *t, size_t at, const char *column)
{
    char unit[COLUMN_UNIT];
    json_t *own = NULL;
    const json_t *targets = targets_of(t, column, unit, &own), *one;
    size_t i;
    if (!targets && *column)
        text_appendf(&t->unused, "%s%s", t->unused.length ? ", " : "", column);
    json_array_foreach((json_t *)(uintptr_t)targets, i, one)
    {
        struct column_target target;
        const char *text = json_string_value(one);
        if (column_map_target(t->part, NULL, text, &target, NULL))
            continue;
        if (*unit && !*target.unit && target.type == COLUMN_NUMBER)
            memcpy(target.unit, unit, sizeof target.unit);
        struct filled *f = filled_of(t, &target);
        if (!f || f->count == SOURCES) {
            refuse(t, column, text, "too many columns go to one of ours");
            continue;
        }
        f->from[f->count++] = at;
        const char *shown = json_string_value(json_object_get(t->part->shown, target.name));
        f->column = shown
                        ? shown
                        : record_kind_table((enum record_kind)t->part->kind)
                              ->columns[record_kind_column(
                                  record_kind_table((enum record_kind)t->part->kind), target.name)]
                              .name;
    }
    json_decref(own);
}

/* Joined columns stand in the order of the map, not in that of the file. */
static void order_sources(struct table_rows *t, const struct csv_field *fields)
{
    for (int i = 0; i < t->count; i++) {
        struct filled *f = &t->filled[i];
        size_t sorted[SOURCES];
        int n = 0;
        const char *key;
        json_t *targets;
        json_object_foreach(t->part->columns, key, targets)
        {
            for (int k = 0; k < f->count && n < SOURCES; k++) {
                char folded[COLUMN_KEY];
                if (strcmp(text_fold(fields[f->from[k]].text, folded, sizeof folded), key) == 0)
                    sorted[n++] = f->from[k];
            }
        }
        if (n == f->count)
            memcpy(f->from, sorted, sizeof sorted);
    }
}

/* Constants and needs, and whether the file has all that the map names. */
static void settle(struct table_rows *t)
{
    const char *name;
    json_t *value;
    json_object_foreach(t->part->constants, name, value)
    {
        struct column_target target;
        struct filled *f =
            column_map_target(t->part, NULL, name, &target, NULL) ? NULL : filled_of(t, &target);
        if (f)
            f->constant = json_string_value(value);
        if (f && !f->column)
            f->column = name;
    }
    for (int i = 0; i < t->count; i++) {
        struct filled *f = &t->filled[i];
        size_t k;
        f->form = json_string_value(json_object_get(t->part->dates, f->target.name));
        json_array_foreach((json_t *)(uintptr_t)t->part->needs, k, value) f->needed |=
            strcmp(json_string_value(value), f->target.name) == 0;
    }
}

static bool has_column(const struct csv_field *fields, size_t count, const char *key)
{
    for (size_t i = 0; i < count; i++) {
        char folded[COLUMN_KEY], unit[COLUMN_UNIT];
        size_t bare = 0;
        if (strcmp(text_fold(fields[i].text, folded, sizeof folded), key) == 0)
            return true;
        if (!column_map_unit(fields[i].text, unit, &bare))
            continue;
        fields[i].text[bare] = '\0'; /* its last use */
        if (strcmp(text_fold(fields[i].text, folded, sizeof folded), key) == 0)
            return true;
    }
    return false;
}

static void refuse_missing(struct table_rows *t, const struct csv_field *fields, size_t count)
{
    const char *key;
    json_t *targets;
    json_object_foreach(t->part->columns, key, targets)
    {
        if (json_array_size(targets) > 0 && !has_column(fields, count, key))
            refuse(t, key, "", "the file has no such column; the map names it");
    }
}

static void header_row(struct table_rows *t, struct csv_field *fields, size_t count)
{
    t->headed = true;
    t->width = count < CSV_ROWS_FIELDS ? count : CSV_ROWS_FIELDS;
    for (size_t i = 0; i < t->width; i++) {
        if (!text_is_utf8(fields[i].text, fields[i].length))
            refuse(t, "", fields[i].text, "the column's name is not UTF-8: save the file as UTF-8");
        take_column(t, i, fields[i].text);
    }
    order_sources(t, fields);
    settle(t);
    refuse_missing(t, fields, t->width);
    t->ended = json_array_size(t->refused) > 0;
}

/* ---- one cell ---- */

static void take_number(struct table_rows *t, const struct filled *f, const char *text, json_t *row)
{
    char number[40], key[COLUMN_KEY], name[COLUMN_NAME + COLUMN_UNIT + 8];
    const char *rest = "", *unit = f->target.unit;
    if (!cell_number(text, *t->map->decimal, *t->map->thousands, number, &rest)) {
        char reason[96];
        snprintf(reason, sizeof reason, "is no number written with a decimal %s%s",
                 *t->map->decimal == ',' ? "comma" : "point",
                 *t->map->thousands ? " and the sign of thousands that the map names" : "");
        refuse(t, f->column, text, reason);
        return;
    }
    if (*rest) {
        const char *ours =
            json_string_value(json_object_get(t->map->units, text_fold(rest, key, sizeof key)));
        unit = ours ? ours : rest;
        if (!units_known(unit)) {
            refuse(t, f->column, text,
                   "the unit behind the number is not known; the map's "
                   "\"units\" may name it");
            return;
        }
    }
    if (*unit)
        snprintf(name, sizeof name, "%s [%s]", f->target.name, unit);
    else
        snprintf(name, sizeof name, "%s", f->target.name);
    json_object_set_new(row, name, json_string(number));
}

/* "2026-11-20 09:14:00": a year in front can't be misread, whatever form is declared. */
static bool read_iso(const char *text, struct date_form_read *ret)
{
    static const char *const FORMS[] = {"YYYY-MM-DD hh:mm:ss", "YYYY-MM-DDThh:mm:ss",
                                        "YYYY-MM-DD hh:mm", "YYYY-MM-DDThh:mm", "YYYY-MM-DD"};
    for (size_t i = 0; i < sizeof FORMS / sizeof *FORMS; i++)
        if (date_form_read(FORMS[i], text, ret))
            return true;
    return false;
}

static void take_date(struct table_rows *t, const struct filled *f, const char *text, json_t *row)
{
    struct date_form_read read = {.hour = -1};
    char reason[160], out[40];
    int64_t ms;
    bool day = f->target.type == COLUMN_DAY;
    if (!day && when_parse(text, &ms, NULL) == 0) {
        json_object_set_new(row, f->target.name, json_string(text));
        return;
    }
    bool good = (f->form && date_form_read(f->form, text, &read)) || read_iso(text, &read);
    if (good && (day || read.hour >= 0)) {
        ms = tz_instant_ms(t->tz, read.day, read.hour * 60 + read.minute) +
             read.second * INT64_C(1000);
        day ? day_format(read.day, out) : when_format(t->tz, ms, out);
        json_object_set_new(row, f->target.name, json_string(out));
        return;
    }
    if (good)
        snprintf(reason, sizeof reason, "has no time of day");
    else if (f->form)
        snprintf(reason, sizeof reason, "is no date written %.60s, as the map says", f->form);
    else
        snprintf(
            reason, sizeof reason,
            "is no date written 2026-11-20%s; the map's \"dates\" may say how they are written",
            day ? "" : " 09:14");
    refuse(t, f->column, text, reason);
}

/* What the row's cells say for one of our columns; "" if nothing. */
static const char *gather(const struct filled *f, const struct csv_field *fields, size_t count,
                          char out[static CELL])
{
    size_t length = 0;
    out[0] = '\0';
    for (int i = 0; i < f->count; i++) {
        if (f->from[i] >= count)
            continue;
        const char *text = fields[f->from[i]].text;
        text += strspn(text, " \t");
        size_t n = strlen(text);
        while (n && strchr(" \t", text[n - 1]))
            n--;
        if (n == 0)
            continue;
        int more = snprintf(out + length, CELL - length, "%s%.*s", length ? " " : "", (int)n, text);
        length = (size_t)more >= CELL - length ? CELL - 1 : length + (size_t)more;
    }
    return *out || !f->constant ? out : f->constant;
}

static void take_cell(struct table_rows *t, const struct filled *f, const char *text, json_t *row)
{
    const char *ours = column_map_word(t->part, f->target.name, text);
    if (!text_is_utf8(ours, strlen(ours)))
        refuse(t, f->column, text, "is not UTF-8: save the file as UTF-8");
    else if (f->target.type == COLUMN_NUMBER)
        take_number(t, f, ours, row);
    else if (f->target.type == COLUMN_TEXT)
        json_object_set_new(row, f->target.name, json_string(ours));
    else
        take_date(t, f, ours, row);
}

/* ---- rows ---- */

static bool all_empty(const struct csv_field *fields, size_t from, size_t count)
{
    for (size_t i = from; i < count && i < CSV_ROWS_FIELDS; i++)
        if (fields[i].length > 0)
            return false;
    return true;
}

static json_t *data_row(struct table_rows *t, const struct csv_field *fields, size_t count)
{
    char text[CELL], reason[96];
    json_t *row = json_object();
    if (count < t->width || !all_empty(fields, t->width, count)) {
        snprintf(reason, sizeof reason, "the row has %zu fields, the header has %zu", count,
                 t->width);
        refuse(t, "", "", reason);
        return row;
    }
    for (int i = 0; i < t->count; i++) {
        const struct filled *f = &t->filled[i];
        const char *said = gather(f, fields, count, text);
        if (*said) {
            take_cell(t, f, said, row);
        } else if (f->needed) {
            json_decref(row);
            json_array_clear(t->refused);
            return NULL;
        }
    }
    return row;
}

static void on_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    struct table_rows *t = arg;
    if (t->ended || all_empty(fields, 0, count))
        return;
    json_array_clear(t->refused);
    json_t *row = NULL;
    if (t->headed)
        row = data_row(t, fields, count);
    else
        header_row(t, fields, count);
    if (json_array_size(t->refused) > 0)
        put_refused(t, line);
    else if (row)
        put(t, line, row);
    json_decref(row);
}

static void on_refused(void *arg, long line, const char *reason)
{
    struct table_rows *t = arg;
    if (t->ended)
        return;
    json_array_clear(t->refused);
    refuse(t, "", "", reason);
    put_refused(t, line);
    t->ended = !t->headed;
}

/* The first line that is the header says what separates columns. */
static void on_line(void *arg, const char *line, size_t length, long number)
{
    struct table_rows *t = arg;
    const struct csv_rows_sink sink = {on_row, on_refused, t};
    if (number < t->part->header)
        return;
    bool blank = line && strspn(line, "\r") >= length;
    if (!t->csv && !blank)
        t->csv = csv_rows_new(&sink, line ? csv_rows_separator(line, length) : ',');
    if (t->csv)
        csv_rows_line(t->csv, line, length, number);
}

/* ---- outside ---- */

struct table_rows *table_rows_new(const struct column_map *map, int part, const struct tz *tz)
{
    struct table_rows *t = xcalloc(1, sizeof *t);
    t->map = map;
    t->part = &map->parts[part];
    if (*map->zone && tz_open(map->zone, &t->own_tz, NULL) == 0)
        tz = t->own_tz;
    t->tz = tz;
    t->lines.limit = CSV_ROWS_BYTES;
    t->refused = json_array();
    return t;
}

void table_rows_free(struct table_rows *t)
{
    if (!t)
        return;
    csv_rows_free(t->csv);
    lines_free(&t->lines);
    tz_close(t->own_tz);
    text_buffer_free(&t->unused);
    json_decref(t->refused);
    free(t);
}

void table_rows_feed(struct table_rows *t, const char *bytes, size_t length,
                     struct text_buffer *out)
{
    t->out = out;
    lines_feed(&t->lines, bytes, length, on_line, t);
}

void table_rows_finish(struct table_rows *t, struct text_buffer *out)
{
    t->out = out;
    lines_finish(&t->lines, on_line, t);
    if (t->csv)
        csv_rows_finish(t->csv);
    if (t->headed || t->ended)
        return;
    json_array_clear(t->refused);
    refuse(t, "", "", "the file is empty: its first row must name the columns");
    put_refused(t, 1);
}

const char *table_rows_unused(const struct table_rows *t)
{
    return t->unused.data ? t->unused.data : "";
}
