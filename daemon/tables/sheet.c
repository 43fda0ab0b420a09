#include "tables/sheet.h"
#include "base/csv_cell.h"
#include "base/text.h"
#include "base/when.h"
#include "tables/sheet_book.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Excel's own limits, but for the columns: more than our longest header has are refused. */
enum { COLUMNS = 256, ROWS = 1048576, CELL_BYTES = 4 * 32767, PUT_BYTES = 64 << 10 };
static const double LAST_SERIAL = 2958466; /* 10000-01-01 */

enum cell_type { NUMBER, SHARED, TEXT, TRUTH };

struct sheet {
    const struct sheet_book *book;
    char decimal;
    sheet_put put;
    void *arg;
    struct text_buffer out;
    long line;    /* lines put so far */
    long row;     /* at hand */
    size_t width; /* of the first row that is not blank; 0 before it */
    struct text_buffer cells[COLUMNS];
    size_t filled; /* columns of the row at hand, up to the last that is not blank */
    /* the cell at hand */
    long column; /* 0.. */
    enum cell_type type;
    unsigned style;
    struct text_buffer value;
    bool in_value;
    int phonetic;
};

/* ---- values ---- */

/* Line breaks, tabs and the like, also as _x000D_, are blanks: a row is a line. */
static void clean(char *text)
{
    char *to = text;
    for (const char *at = text; *at; at++) {
        if (strncmp(at, "_x000", 5) == 0 && strchr("9ADad", at[5]) && at[5] && at[6] == '_') {
            *to++ = ' ';
            at += 6;
        } else {
            *to++ = (unsigned char)*at < ' ' ? ' ' : *at;
        }
    }
    *to = '\0';
}

/* Serial 60 of the 1900 system is a 29 February that never was; days before it are one off. */
static int32_t day_of(const struct sheet *s, double whole)
{
    int32_t serial = (int32_t)whole;
    if (sheet_book_1904(s->book))
        return day_from_civil(1904, 1, 1) + serial;
    return day_from_civil(1899, 12, 30) + serial + (serial < 60);
}

static void append_time(struct text_buffer *out, long seconds)
{
    text_appendf(out, "%02ld:%02ld", seconds / 3600, seconds / 60 % 60);
    if (seconds % 60)
        text_appendf(out, ":%02ld", seconds % 60);
}

static void append_date(const struct sheet *s, double value, struct text_buffer *out)
{
    char date[16];
    double whole = floor(value);
    long seconds = lround((value - whole) * 86400);
    bool dated = (s->style & SHEET_DATE) || (whole >= 1 && !(s->style & SHEET_ELAPSED));
    if (seconds == 86400) {
        seconds = 0;
        whole++;
    }
    if (dated)
        text_append(out, day_format(day_of(s, whole), date));
    else
        seconds += lround(whole) * 86400;
    if (dated && (seconds || (s->style & SHEET_TIME)))
        text_append(out, " ");
    if (!dated || seconds || (s->style & SHEET_TIME))
        append_time(out, seconds);
}

static void append_number(const struct sheet *s, const char *text, struct text_buffer *out)
{
    double value = 0;
    if (text_to_double(text, &value)) {
        text_append(out, text);
        return;
    }
    if (s->style && value >= 0 && value < LAST_SERIAL) {
        append_date(s, value, out);
        return;
    }
    size_t from = out->length;
    text_appendf(out, "%.15g", value);
    char *point = strchr(out->data + from, '.');
    if (point)
        *point = s->decimal;
}

static int take_value(struct sheet *s, struct error *err)
{
    char *text = s->value.data ? s->value.data : (char[]){""};
    struct text_buffer *cell = &s->cells[s->column];
    int64_t index = -1;
    clean(text);
    if (s->type == NUMBER) {
        append_number(s, text, cell);
    } else if (s->type == TRUTH) {
        text_append(cell, strcmp(text, "1") == 0 || strcmp(text, "true") == 0 ? "TRUE" : "FALSE");
    } else if (s->type == TEXT) {
        text_append(cell, text);
    } else {
        text_to_int64(text, &index);
        const char *shared = sheet_book_text(s->book, index);
        if (!shared)
            return error_set(err, ERROR_INVALID, "row %ld names a text that is not there", s->row);
        text_append(cell, shared);
        clean(cell->data);
        cell->length = strlen(cell->data);
    }
    if (cell->length > CELL_BYTES)
        return error_set(err, ERROR_TOO_LARGE, "a cell of row %ld is too long", s->row);
    if (cell->length > 0 && (size_t)s->column >= s->filled)
        s->filled = (size_t)s->column + 1;
    return 0;
}

/* ---- rows ---- */

static int flush(struct sheet *s)
{
    int rc = s->out.length ? s->put(s->arg, s->out.data, s->out.length) : 0;
    text_reset(&s->out);
    return rc;
}

static int put_row(struct sheet *s)
{
    size_t width = s->filled > s->width ? s->filled : s->width;
    if (s->filled == 0)
        return 0;
    if (s->width == 0)
        s->width = s->filled;
    for (; s->line < s->row - 1; s->line++)
        text_append(&s->out, "\n");
    for (size_t i = 0; i < width; i++) {
        if (i)
            text_append(&s->out, ",");
        if (s->cells[i].length)
            csv_cell_append(&s->out, s->cells[i].data);
        text_reset(&s->cells[i]);
    }
    text_append(&s->out, "\n");
    s->line++;
    s->filled = 0;
    return s->out.length >= PUT_BYTES ? flush(s) : 0;
}

/* ---- elements ---- */

/* "AB12": column 27. -1 if it is none. */
static long column_of(const char *reference)
{
    long column = 0;
    const char *at = reference;
    for (; *at >= 'A' && *at <= 'Z' && at < reference + 3; at++)
        column = column * 26 + (*at - 'A' + 1);
    return at == reference || *at < '0' || *at > '9' ? -1 : column - 1;
}

static int start_row(struct sheet *s, const char **attributes, struct error *err)
{
    const char *number = sheet_part_attribute(attributes, "r");
    int64_t row = s->row + 1;
    if ((number && text_to_int64(number, &row)) || row <= s->row || row > ROWS)
        return error_set(err, ERROR_INVALID, "its rows are not in order at row %.20s",
                         number ? number : "");
    s->row = (long)row;
    s->column = -1;
    return 0;
}

static int start_cell(struct sheet *s, const char **attributes, struct error *err)
{
    static const struct {
        const char *word;
        enum cell_type type;
    } TYPES[] = {{"s", SHARED}, {"str", TEXT}, {"inlineStr", TEXT},
                 {"b", TRUTH},  {"e", TEXT},   {"d", TEXT}};
    const char *reference = sheet_part_attribute(attributes, "r"),
               *type = sheet_part_attribute(attributes, "t"),
               *style = sheet_part_attribute(attributes, "s");
    int64_t index = -1;
    long column = reference ? column_of(reference) : s->column + 1;
    if (column <= s->column || s->row == 0)
        return error_set(err, ERROR_INVALID, "its cells are not in order in row %ld", s->row);
    s->column = column;
    s->type = NUMBER;
    for (size_t i = 0; type && i < sizeof TYPES / sizeof *TYPES; i++)
        if (strcmp(type, TYPES[i].word) == 0)
            s->type = TYPES[i].type;
    if (style)
        text_to_int64(style, &index);
    s->style = sheet_book_style(s->book, index);
    text_reset(&s->value);
    return 0;
}

static int on_start(void *arg, const char *name, const char **attributes, struct error *err)
{
    struct sheet *s = arg;
    if (strcmp(name, "row") == 0)
        return start_row(s, attributes, err);
    if (strcmp(name, "c") == 0)
        return start_cell(s, attributes, err);
    if (strcmp(name, "rPh") == 0)
        s->phonetic++;
    s->in_value = strcmp(name, "v") == 0 || (strcmp(name, "t") == 0 && s->phonetic == 0);
    return 0;
}

static int on_end(void *arg, const char *name, struct error *err)
{
    struct sheet *s = arg;
    s->in_value = false;
    if (strcmp(name, "rPh") == 0)
        s->phonetic--;
    if (strcmp(name, "row") == 0)
        return put_row(s);
    if (strcmp(name, "c") != 0 || s->value.length == 0)
        return 0;
    if (s->column >= COLUMNS)
        return error_set(err, ERROR_TOO_LARGE, "row %ld has more than %d columns", s->row, COLUMNS);
    return take_value(s, err);
}

static int on_text(void *arg, const char *text, size_t length, struct error *err)
{
    struct sheet *s = arg;
    if (!s->in_value)
        return 0;
    if (s->value.length + length > CELL_BYTES)
        return error_set(err, ERROR_TOO_LARGE, "a cell of row %ld is too long", s->row);
    text_append_bytes(&s->value, text, length);
    return 0;
}

/* ---- outside ---- */

static int read_cells(struct sheet *s, struct sheet_zip *zip, struct error *err)
{
    const struct sheet_reader reader = {on_start, on_end, on_text, s};
    int rc = sheet_part_read(zip, sheet_book_part(s->book), &reader, err);
    if (!rc)
        rc = flush(s);
    for (size_t i = 0; i < COLUMNS; i++)
        text_buffer_free(&s->cells[i]);
    text_buffer_free(&s->value);
    text_buffer_free(&s->out);
    return rc;
}

int sheet_read(const void *bytes, size_t length, const struct sheet_options *options, sheet_put put,
               void *arg, struct error *err)
{
    struct sheet_zip *zip = NULL;
    struct sheet_book *book = NULL;
    struct sheet *s = xcalloc(1, sizeof *s);
    int rc = sheet_part_open(bytes, length, &zip, err);
    if (!rc)
        rc = sheet_book_open(zip, options->name, &book, err);
    s->book = book;
    s->decimal = options->decimal;
    s->put = put;
    s->arg = arg;
    if (!rc)
        rc = read_cells(s, zip, err);
    sheet_book_close(book);
    sheet_part_close(zip);
    free(s);
    return rc;
}

bool sheet_begins(const char *bytes, size_t length)
{
    return length >= 4 &&
           (memcmp(bytes, "PK\3\4", 4) == 0 || memcmp(bytes, "\xD0\xCF\x11\xE0", 4) == 0);
}
