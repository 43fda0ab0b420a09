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
#define LOOK_AHEAD 10000
#define COLUMN_SHOWN 64
#define HAS_NUL "holds a NUL byte"

struct csv_row {
    char **cells;
    size_t count;
    long line;
    bool has_nul;
};

/* What the dates of a column show of their order: of those that are written with numbers alone. */
struct order {
    bool month, day; /* there is one that only has it so */
};

struct reader {
    const struct column_map *map;
    const struct form_day *day;
    row_each each;
    void *arg;
    char **cells; /* of the row being read */
    size_t cell_count, cell_capacity;
    char **fields;        /* of the header: field names, NULL for a column left out */
    char **others;        /* names of the columns that mean nothing to us, NULL for all others */
    struct order *orders; /* of each field, and behind them of all */
    size_t field_count;
    struct csv_row *rows; /* that wait: one date is read by what the others are */
    size_t row_count, row_capacity;
    bool looked; /* enough rows have been: each that comes is taken at once */
    long dates_by_plant;
    struct text_buffer unused;
    bool unnamed[COLUMNS]; /* columns that have no heading, until one has words in it */
    long row_line;         /* where the row began */
    bool has_nul;          /* the row being read */
    bool ended;            /* a row ended in the piece just fed */
    int rc;
    struct error *err;
};

static void drop_cells(char **cells, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(cells[i]);
}

/* What stands behind a NUL byte is words, too: a blank takes its place. malloc'd. */
static char *without_nul(const char *bytes, size_t length, bool *ret_had)
{
    char *cell = xcalloc(length + 1, 1);
    for (size_t i = 0; i < length; i++) {
        *ret_had = *ret_had || !bytes[i];
        cell[i] = bytes[i] ? bytes[i] : ' ';
    }
    return cell;
}

static void on_cell(void *bytes, size_t length, void *arg)
{
    struct reader *r = arg;
    if (r->cell_count == r->cell_capacity) {
        r->cell_capacity = r->cell_capacity ? r->cell_capacity * 2 : 32;
        r->cells = xrealloc(r->cells, r->cell_capacity * sizeof *r->cells);
    }
    r->cells[r->cell_count++] = without_nul(bytes, length, &r->has_nul);
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

static bool is_same_field(const char *a, const char *b)
{
    size_t length = strcspn(a, " ["); /* of a measured one: whatever its unit */
    return length == strcspn(b, " [") && strncmp(a, b, length) == 0;
}

/* Of two columns for one field one would be thrown away, with what it says of harm. */
static void refuse_twice(struct reader *r, size_t column)
{
    for (size_t i = 0; i < column && r->fields[column] && !r->rc; i++) {
        if (!r->fields[i] || !is_same_field(r->fields[i], r->fields[column]))
            continue;
        char first[COLUMN_SHOWN];
        error_at(r->err, NULL, r->row_line, 0);
        error_field(r->err, r->cells[column], NULL);
        error_hint(r->err, "name one of them otherwise, or leave it out with --map 'COLUMN=-'");
        r->rc = error_set(r->err, ERROR_INVALID,
                          "this column is there twice: '%s', column %zu, is read as %s, too",
                          text_clip(r->cells[i], first, sizeof first), i + 1, r->fields[i]);
    }
}

static bool says_nothing(const char *cell)
{
    return cell[strspn(cell, " \t\r\n")] == '\0';
}

/* Without a heading it is none of ours; what stands in it is heard all the same. */
static void name_column(struct reader *r, size_t column)
{
    struct text_buffer name = {0};
    text_appendf(&name, "column %zu", column + 1);
    r->others[column] = text_take(&name);
    r->unnamed[column] = true;
}

static void take_header(struct reader *r)
{
    if (r->cell_count > COLUMNS) {
        r->rc = error_set(r->err, ERROR_TOO_LARGE, "more than %d columns", COLUMNS);
        return;
    }
    if (r->has_nul) {
        error_at(r->err, NULL, r->row_line, 0);
        r->rc = error_set(r->err, ERROR_INVALID, "the header " HAS_NUL);
        return;
    }
    r->fields = xcalloc(r->cell_count, sizeof *r->fields);
    r->others = xcalloc(r->cell_count, sizeof *r->others);
    r->orders = xcalloc(r->cell_count + 1, sizeof *r->orders);
    r->field_count = r->cell_count;
    for (size_t i = 0; i < r->cell_count; i++) {
        bool skip = false;
        r->fields[i] = measured_in_unit(r, r->cells[i]);
        if (r->fields[i])
            continue;
        const char *field = column_map_field(r->map, r->cells[i], &skip);
        if (field)
            r->fields[i] = xstrdup(field);
        else if (!skip && says_nothing(r->cells[i]))
            name_column(r, i);
        else if (!skip) {
            r->others[i] = text_as_utf8(r->cells[i], strlen(r->cells[i]));
            text_appendf(&r->unused, "%s%s", r->unused.length ? ", " : "", r->others[i]);
        }
    }
    for (size_t i = 1; i < r->cell_count; i++)
        refuse_twice(r, i);
}

/* ---- which comes first, day or month ---- */

/* Of a cell whose order the map does not say. */
static enum said_order order_of(const struct reader *r, const char *field, const char *cell,
                                bool *ret_dotted)
{
    const struct field *known = field ? fields_named(field) : NULL;
    if (!known || !text_is_utf8(cell, strlen(cell)) ||
        (known->type != FIELD_PAST && known->type != FIELD_NEAR && known->type != FIELD_TIME))
        return SAID_ORDER_NONE;
    char date[COLUMN_DATE];
    bool is_date = false;
    if (column_map_date(r->map, field, cell, &is_date, date, NULL) || is_date)
        return SAID_ORDER_NONE;
    return said_date_order(column_map_value(r->map, field, cell), ret_dotted);
}

static void look_at_orders(struct reader *r, const struct csv_row *row)
{
    struct order *all = &r->orders[r->field_count];
    for (size_t i = 0; i < row->count && row->count <= r->field_count; i++) {
        bool dotted = false;
        enum said_order order = order_of(r, r->fields[i], row->cells[i], &dotted);
        r->orders[i].month |= order == SAID_ORDER_MONTH;
        r->orders[i].day |= order == SAID_ORDER_DAY;
        all->month |= r->orders[i].month;
        all->day |= r->orders[i].day;
    }
}

/* The order of a date that could be either: as its column's others are, else as those of the file's
 * other columns, else as the plant writes dates, which is counted: whoever wrote the file need not
 * write so. Where the file has both orders it is refused: day and month changed about would be a
 * lot of another month. */
static int decide_order(struct reader *r, size_t column, const char *cell, bool *ret_day,
                        struct error *err)
{
    const struct order *of = &r->orders[column], *all = &r->orders[r->field_count];
    bool dotted = false;
    if (order_of(r, r->fields[column], cell, &dotted) != SAID_ORDER_BOTH)
        return 0;
    const struct order *by = of->month || of->day ? of : all;
    bool told = by->month || by->day;
    if (dotted || told)
        *ret_day = dotted || by->day;
    r->dates_by_plant += !dotted && !told;
    if (dotted ? !of->month : !(by->month && by->day))
        return 0;
    error_field(err, r->fields[column], cell);
    error_hint(err,
               "write it as 2026-11-03, or have a map say how the column is written: "
               "{\"columns\": {}, \"dates\": {\"%s\": \"DD/MM/YYYY\"}}",
               r->fields[column]);
    return error_set(err, ERROR_INVALID,
                     "day and month may each come first here, and the other dates of the file are "
                     "of both kinds");
}

static int set_cell(struct reader *r, json_t *complaint, size_t column, const char *cell,
                    struct error *err)
{
    const char *field = r->fields[column];
    struct form_day day = *r->day;
    if (!text_is_utf8(cell, strlen(cell))) {
        error_field(err, field, cell);
        error_hint(err, "save the file as UTF-8");
        return error_set(err, ERROR_INVALID, "is not UTF-8");
    }
    if (decide_order(r, column, cell, &day.day_first, err))
        return ERROR_INVALID;
    char date[COLUMN_DATE];
    bool is_date = false;
    int rc = column_map_date(r->map, field, cell, &is_date, date, err);
    if (rc)
        return rc;
    const char *value = is_date ? date : column_map_value(r->map, field, cell);
    if (strncmp(field, "measured.", 9) == 0)
        return form_set_measured(complaint, field + 9, value, err);
    return *value ? form_set(complaint, fields_named(field), value, &day, err) : 0;
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
    const char *before = json_string_value(json_object_get(unread, column)); /* there twice */
    json_object_set_new(unread, column,
                        json_sprintf("%s%s%s", before ? before : "", before ? "; " : "", text));
    free(text);
}

static void say_unnamed(struct reader *r, size_t column, long line)
{
    if (r->unnamed[column])
        text_appendf(&r->unused, "%s%s (it has no heading, and words in line %ld)",
                     r->unused.length ? ", " : "", r->others[column], line);
    r->unnamed[column] = false;
}

static int take_row(struct reader *r, const struct csv_row *of)
{
    struct error first = {0};
    struct row row = {.line = of->line,
                      .complaint = json_object(),
                      .readable = of->count <= r->field_count && !of->has_nul,
                      .faults = json_array()};
    if (of->has_nul)
        error_set(&first, ERROR_INVALID, HAS_NUL);
    else if (!row.readable)
        error_set(&first, ERROR_INVALID, "has %zu values, the header names %zu columns", of->count,
                  r->field_count);
    for (size_t i = 0; i < of->count; i++) {
        struct error err = {0};
        if (!row.readable)
            take_as_words(row.complaint, of->cells[i]);
        else if (r->others[i] && !says_nothing(of->cells[i])) {
            say_unnamed(r, i, of->line);
            take_other(row.complaint, r->others[i], of->cells[i]);
        }
        if (!row.readable || !r->fields[i] || !set_cell(r, row.complaint, i, of->cells[i], &err))
            continue;
        json_array_append_new(row.faults, complaint_form_fault(&err));
        if (strncmp(r->fields[i], "contact.", 8) != 0)
            take_as_words(row.complaint, of->cells[i]);
        if (!first.code)
            first = err;
    }
    row.refused = first.code ? &first : NULL;
    int rc = r->each(r->arg, &row);
    json_decref(row.complaint);
    json_decref(row.faults);
    return rc;
}

static int take_rows(struct reader *r)
{
    int rc = 0;
    for (size_t i = 0; i < r->row_count; i++) {
        rc = rc ? rc : take_row(r, &r->rows[i]);
        drop_cells(r->rows[i].cells, r->rows[i].count);
        free(r->rows[i].cells);
    }
    r->row_count = 0;
    return rc;
}

/* Takes the cells. */
static void keep_row(struct reader *r)
{
    if (r->row_count == r->row_capacity) {
        r->row_capacity = r->row_capacity ? r->row_capacity * 2 : 64;
        r->rows = xrealloc(r->rows, r->row_capacity * sizeof *r->rows);
    }
    r->rows[r->row_count++] = (struct csv_row){r->cells, r->cell_count, r->row_line, r->has_nul};
    r->cells = NULL;
    r->cell_count = r->cell_capacity = 0;
    look_at_orders(r, &r->rows[r->row_count - 1]);
    r->looked = r->looked || r->row_count == LOOK_AHEAD;
    if (r->looked)
        r->rc = take_rows(r);
}

static void on_row(int end, void *arg)
{
    struct reader *r = arg;
    (void)end;
    r->ended = true;
    bool empty = true;
    for (size_t i = 0; i < r->cell_count; i++)
        empty = empty && !*r->cells[i];
    if (!r->rc && !empty && r->fields) {
        keep_row(r);
    } else {
        if (!r->rc && !empty)
            take_header(r);
        drop_cells(r->cells, r->cell_count);
        r->cell_count = 0;
    }
    r->has_nul = false;
}

static void drop(struct reader *r)
{
    drop_cells(r->cells, r->cell_count);
    free(r->cells);
    free(r->rows);
    drop_cells(r->fields, r->fields ? r->field_count : 0);
    drop_cells(r->others, r->fields ? r->field_count : 0);
    free(r->fields);
    free(r->others);
    free(r->orders);
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
                       row_each each, void *arg, struct complaint_rows_seen *ret, struct error *err)
{
    struct form_day whole = *meaning->day;
    whole.full = true;
    struct reader r = {.map = meaning->map, .day = &whole, .each = each, .arg = arg, .err = err};
    struct csv_parser parser;
    if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI | CSV_APPEND_NULL) != 0)
        return error_set(err, ERROR_MEMORY, "no memory for the CSV parser");
    int rc = feed(&r, &parser, s), of_rows = take_rows(&r);
    rc = of_rows ? of_rows : rc;
    if (!rc && !r.fields)
        rc = error_set(err, ERROR_INVALID, "has no header row");
    if (rc)
        error_at(err, source_name(s), 0, 0);
    csv_free(&parser);
    drop(&r);
    ret->unused = r.unused.length ? text_take(&r.unused) : NULL;
    ret->dates_by_plant = r.dates_by_plant;
    return rc;
}
