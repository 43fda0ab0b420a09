/* CSV (RFC 4180) to complaints. The first row names the columns; commas, semicolons or tabs part
 * them, whichever the first row uses. */
#include "base/text.h"
#include "base/units.h"
#include "deliver/complaint_rows.h"
#include "intake/complaint_form.h"
#include "tables/csv_rows.h"
#include <csv.h>
#include <stdlib.h>
#include <string.h>

#define CHUNK 65536
#define ROW_BYTES (1u << 20)
#define COLUMNS 256

struct reader {
    const struct column_map *map;
    const struct form_day *day;
    row_each each;
    void *arg;
    char **cells; /* of the row being read */
    size_t cell_count, cell_capacity;
    char **fields; /* of the header: field names, NULL for a column left out */
    char **others; /* names of the columns that mean nothing to us, NULL for all others */
    size_t field_count;
    struct text_buffer unused;
    long row_line; /* where the row began */
    bool ended;    /* a row ended in the piece just fed */
    int rc;
    struct error *err;
};

static void drop_cells(struct reader *r)
{
    for (size_t i = 0; i < r->cell_count; i++)
        free(r->cells[i]);
    r->cell_count = 0;
}

static void on_cell(void *bytes, size_t length, void *arg)
{
    struct reader *r = arg;
    if (r->cell_count == r->cell_capacity) {
        r->cell_capacity = r->cell_capacity ? r->cell_capacity * 2 : 32;
        r->cells = xrealloc(r->cells, r->cell_capacity * sizeof *r->cells);
    }
    r->cells[r->cell_count++] = xstrndup(bytes ? bytes : "", length);
}

/* "Core temp [degF]" mapped to measured.core_at_pack, or "measured.core_at_pack [degF]": the field
 * with its unit, for the daemon to convert. NULL if the column is no measured quantity. */
static char *measured_in_unit(struct reader *r, const char *column)
{
    char unit[COLUMN_UNIT];
    size_t bare = 0;
    bool skip = false;
    if (!column_map_unit(column, unit, &bare))
        return NULL;
    const char *field = column_map_field(r->map, column, &skip);
    char *name = xstrndup(column, bare);
    if (!field && !skip)
        field = column_map_field(r->map, name, &skip);
    free(name);
    if (!field || strncmp(field, "measured.", 9) != 0)
        return NULL;
    if (!units_known(unit)) {
        error_at(r->err, NULL, r->row_line, 0);
        error_field(r->err, column, unit);
        error_hint(r->err, "degC, degF, %%, ppm, g/kg and the like; the column may be left out "
                           "with --map 'COLUMN=-'");
        r->rc = error_set(r->err, ERROR_INVALID, "the unit is not known");
    }
    struct text_buffer out = {0};
    size_t length = strcspn(field, "[");
    while (length && strchr(" _", field[length - 1]))
        length--;
    text_appendf(&out, "%.*s [%s]", (int)length, field, unit);
    return text_take(&out);
}

static void take_header(struct reader *r)
{
    if (r->cell_count > COLUMNS) {
        r->rc = error_set(r->err, ERROR_TOO_LARGE, "more than %d columns", COLUMNS);
        return;
    }
    r->fields = xcalloc(r->cell_count, sizeof *r->fields);
    r->others = xcalloc(r->cell_count, sizeof *r->others);
    r->field_count = r->cell_count;
    for (size_t i = 0; i < r->cell_count; i++) {
        bool skip = false;
        r->fields[i] = measured_in_unit(r, r->cells[i]);
        if (r->fields[i])
            continue;
        const char *field = column_map_field(r->map, r->cells[i], &skip);
        if (field)
            r->fields[i] = xstrdup(field);
        else if (!skip && *r->cells[i]) {
            r->others[i] = text_as_utf8(r->cells[i], strlen(r->cells[i]));
            text_appendf(&r->unused, "%s%s", r->unused.length ? ", " : "", r->others[i]);
        }
    }
}

static int set_cell(struct reader *r, json_t *complaint, const char *field, const char *cell,
                    struct error *err)
{
    if (!text_is_utf8(cell, strlen(cell))) {
        error_field(err, field, cell);
        error_hint(err, "save the file as UTF-8");
        return error_set(err, ERROR_INVALID, "is not UTF-8");
    }
    char date[COLUMN_DATE];
    bool is_date = false;
    int rc = column_map_date(r->map, field, cell, &is_date, date, err);
    if (rc)
        return rc;
    const char *value = is_date ? date : column_map_value(r->map, field, cell);
    if (strncmp(field, "measured.", 9) == 0)
        return form_set_measured(complaint, field + 9, value, err);
    return *value ? form_set(complaint, fields_named(field), value, r->day, err) : 0;
}

/* What can't be read as its field is words all the same: they may speak of harm. */
static void take_as_words(json_t *complaint, const char *cell)
{
    char *text = text_as_utf8(cell, strlen(cell));
    const char *before = json_string_value(json_object_get(complaint, "reason"));
    json_t *words = json_sprintf("%s%s%s", before ? before : "", before ? "; " : "", text);
    json_object_set_new(complaint, "reason", words);
    free(text);
}

/* Of no field, it goes along all the same, to be heard and not to be kept. */
static void take_other(json_t *complaint, const char *column, const char *cell)
{
    json_t *unread = json_object_get(complaint, "unread");
    if (!unread)
        json_object_set_new(complaint, "unread", unread = json_object());
    char *text = text_as_utf8(cell, strlen(cell));
    json_object_set_new(unread, column, json_string(text));
    free(text);
}

static void take_row(struct reader *r)
{
    struct error first = {0};
    struct row row = {.line = r->row_line,
                      .complaint = json_object(),
                      .readable = r->cell_count <= r->field_count,
                      .faults = json_array()};
    if (!row.readable)
        error_set(&first, ERROR_INVALID, "has %zu values, the header names %zu columns",
                  r->cell_count, r->field_count);
    for (size_t i = 0; i < r->cell_count; i++) {
        struct error err = {0};
        if (!row.readable)
            take_as_words(row.complaint, r->cells[i]);
        else if (r->others[i] && *r->cells[i])
            take_other(row.complaint, r->others[i], r->cells[i]);
        if (!row.readable || !r->fields[i] ||
            !set_cell(r, row.complaint, r->fields[i], r->cells[i], &err))
            continue;
        json_array_append_new(row.faults, complaint_form_fault(&err));
        if (strncmp(r->fields[i], "contact.", 8) != 0)
            take_as_words(row.complaint, r->cells[i]);
        if (!first.code)
            first = err;
    }
    row.refused = first.code ? &first : NULL;
    r->rc = r->each(r->arg, &row);
    json_decref(row.complaint);
    json_decref(row.faults);
}

static void on_row(int end, void *arg)
{
    struct reader *r = arg;
    (void)end;
    r->ended = true;
    bool empty = true;
    for (size_t i = 0; i < r->cell_count; i++)
        empty = empty && !*r->cells[i];
    if (!r->rc && !empty) {
        if (!r->fields)
            take_header(r);
        else
            take_row(r);
    }
    drop_cells(r);
}

static bool is_blank(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (!strchr(" \t\r\n", text[i]))
            return false;
    return true;
}

static int broken(const struct reader *r, struct csv_parser *parser)
{
    error_at(r->err, NULL, r->row_line, 0);
    error_hint(r->err, "a quote inside a quoted value is doubled");
    return error_set(r->err, ERROR_INVALID, "not CSV: %s", csv_strerror(csv_error(parser)));
}

/* Feeds the parser line by line, so that each row knows the line it began in. */
static int feed(struct reader *r, struct csv_parser *parser, struct source *s)
{
    char *chunk = xmalloc(CHUNK);
    size_t length = 0;
    size_t row_bytes = 0;
    long line = 1;
    bool first = true;
    bool open = false; /* inside a row that began in an earlier line */
    int rc;
    while ((rc = source_read(s, chunk, CHUNK, &length, r->err)) == 0 && length > 0 && !r->rc) {
        if (first)
            csv_set_delim(parser, (unsigned char)csv_rows_separator(chunk, length));
        first = false;
        for (size_t at = 0; at < length && !r->rc;) {
            const char *end = memchr(chunk + at, '\n', length - at);
            size_t n = end ? (size_t)(end - chunk) + 1 - at : length - at;
            if (!open)
                r->row_line = line;
            r->ended = false;
            if (csv_parse(parser, chunk + at, n, on_cell, on_row, r) != n)
                r->rc = broken(r, parser);
            row_bytes = r->ended ? 0 : row_bytes + n;
            open = !r->ended && (open || !is_blank(chunk + at, n));
            if (row_bytes > ROW_BYTES)
                r->rc = error_set(r->err, ERROR_TOO_LARGE, "the row from line %ld on is over 1 MiB",
                                  r->row_line);
            line += end != NULL;
            at += n;
        }
    }
    free(chunk);
    if (!rc && !r->rc && csv_fini(parser, on_cell, on_row, r) != 0)
        r->rc = broken(r, parser);
    return rc ? rc : r->rc;
}

int complaint_rows_csv(struct source *s, const struct complaint_rows_meaning *meaning,
                       row_each each, void *arg, char **ret_unused, struct error *err)
{
    struct form_day whole = {.today = meaning->day->today,
                             .full = true,
                             .day_first = meaning->day->day_first,
                             .tz = meaning->day->tz};
    struct reader r = {.map = meaning->map, .day = &whole, .each = each, .arg = arg, .err = err};
    struct csv_parser parser;
    if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI | CSV_APPEND_NULL) != 0)
        return error_set(err, ERROR_MEMORY, "no memory for the CSV parser");
    int rc = feed(&r, &parser, s);
    if (!rc && !r.fields)
        rc = error_set(err, ERROR_INVALID, "has no header row");
    if (rc)
        error_at(err, source_name(s), 0, 0);
    csv_free(&parser);
    drop_cells(&r);
    free(r.cells);
    for (size_t i = 0; r.fields && i < r.field_count; i++) {
        free(r.fields[i]);
        free(r.others[i]);
    }
    free(r.fields);
    free(r.others);
    *ret_unused = r.unused.length ? text_take(&r.unused) : NULL;
    return rc;
}
