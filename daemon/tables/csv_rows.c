#include "tables/csv_rows.h"
#include "base/csv_cell.h"
#include "base/text.h"
#include <csv.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

struct csv_rows {
    struct csv_rows_sink sink;
    struct csv_parser parser;
    char separator;
    /* the row being made: texts one after the other */
    struct text_buffer text;
    size_t starts[CSV_ROWS_FIELDS], lengths[CSV_ROWS_FIELDS], count;
    bool row_done;
    /* whole lines not yet settled: the record that began at `head`, read up to `fed` */
    struct text_buffer raw;
    size_t head, fed;
    long head_line;
};

/* ---- the library ---- */

static int is_blank(unsigned char c)
{
    return c == CSV_CR; /* of a CR LF; blanks and tabs are data */
}

static int is_end(unsigned char c)
{
    return c == CSV_LF;
}

static void start_parser(struct csv_rows *r)
{
    csv_init(&r->parser, CSV_STRICT | CSV_STRICT_FINI);
    csv_set_delim(&r->parser, (unsigned char)r->separator);
    csv_set_space_func(&r->parser, is_blank);
    csv_set_term_func(&r->parser, is_end);
    text_reset(&r->text);
    r->count = 0;
    r->row_done = false;
}

static void restart_parser(struct csv_rows *r)
{
    csv_free(&r->parser);
    start_parser(r);
}

static void on_field(void *bytes, size_t length, void *arg)
{
    struct csv_rows *r = arg;
    if (r->count < CSV_ROWS_FIELDS) {
        r->starts[r->count] = r->text.length;
        r->lengths[r->count] = length;
        if (length > 0)
            text_append_bytes(&r->text, bytes, length);
        text_append_bytes(&r->text, "", 1);
    }
    r->count++;
}

static void on_end(int c, void *arg)
{
    struct csv_rows *r = arg;
    (void)c;
    r->row_done = true;
}

/* ---- rows ---- */

static void pass_on(struct csv_rows *r, long line)
{
    struct csv_field fields[CSV_ROWS_FIELDS];
    size_t kept = r->count < CSV_ROWS_FIELDS ? r->count : CSV_ROWS_FIELDS;
    for (size_t i = 0; i < kept; i++) {
        char *text = r->text.data + r->starts[i];
        size_t length = csv_cell_unmark(text, r->lengths[i]);
        size_t escape = csv_cell_escape(text, length);
        fields[i] = (struct csv_field){text + escape, length - escape};
    }
    r->sink.row(r->sink.arg, line, fields, r->count);
}

/* A line without quotes is a record by itself: split in place, which most files are all the time.
 */
static void plain_row(struct csv_rows *r, const char *line, size_t length, long number)
{
    while (length > 0 && line[length - 1] == '\r')
        length--;
    if (length == 0)
        return;
    text_reset(&r->text);
    text_append_bytes(&r->text, line, length);
    r->count = 0;
    for (size_t at = 0;;) {
        char *comma = memchr(r->text.data + at, r->separator, length - at);
        size_t end = comma ? (size_t)(comma - r->text.data) : length;
        if (r->count < CSV_ROWS_FIELDS) {
            r->starts[r->count] = at;
            r->lengths[r->count] = end - at;
        }
        r->count++;
        r->text.data[end] = '\0';
        if (!comma)
            break;
        at = end + 1;
    }
    pass_on(r, number);
    r->count = 0;
    text_reset(&r->text);
}

/* ---- records with quotes ---- */

static size_t line_end(const struct csv_rows *r, size_t from)
{
    const char *lf = memchr(r->raw.data + from, '\n', r->raw.length - from);
    return (size_t)(lf - r->raw.data) + 1; /* raw holds whole lines only */
}

/* The record at `head` is broken: its first line is refused, the rest is read anew. */
static void give_up(struct csv_rows *r, const char *reason)
{
    r->sink.refused(r->sink.arg, r->head_line, reason);
    r->head = line_end(r, r->head);
    r->fed = r->head;
    r->head_line++;
    restart_parser(r);
}

/* Hands the lines up to `fed` on as a row. */
static void settle(struct csv_rows *r)
{
    long lines = 0;
    for (size_t at = r->head; at < r->fed; at = line_end(r, at))
        lines++;
    pass_on(r, r->head_line);
    r->head = r->fed;
    r->head_line += lines;
    text_reset(&r->text);
    r->count = 0;
    r->row_done = false;
}

static void read_line(struct csv_rows *r)
{
    size_t end = line_end(r, r->fed), length = end - r->fed;
    const char *line = r->raw.data + r->fed;
    if (r->fed == r->head && !memchr(line, '"', length)) {
        plain_row(r, line, length - 1, r->head_line);
        r->head = r->fed = end;
        r->head_line++;
        return;
    }
    size_t read = csv_parse(&r->parser, line, length, on_field, on_end, r);
    if (read != length) {
        give_up(r, "a quote stands in the middle of a field: quote the whole field and double "
                   "the quotes in it");
        return;
    }
    r->fed = end;
    if (r->row_done)
        settle(r);
    else if (r->fed - r->head > CSV_ROWS_BYTES)
        give_up(r, "the quoted field that begins here does not end");
}

static void read_raw(struct csv_rows *r)
{
    while (r->fed < r->raw.length)
        read_line(r);
    if (r->head == r->raw.length) {
        text_reset(&r->raw);
        r->head = r->fed = 0;
    } else if (r->head > CSV_ROWS_BYTES) {
        memmove(r->raw.data, r->raw.data + r->head, r->raw.length - r->head);
        r->raw.length -= r->head;
        r->fed -= r->head;
        r->head = 0;
    }
}

/* ---- outside ---- */

char csv_rows_separator(const char *line, size_t length)
{
    static const char candidates[] = {',', ';', '\t'};
    size_t best = 0;
    size_t most = 0;
    for (size_t c = 0; c < sizeof candidates; c++) {
        size_t count = 0;
        bool quoted = false;
        for (size_t i = 0; i < length && line[i] != '\n'; i++) {
            quoted ^= line[i] == '"';
            count += !quoted && line[i] == candidates[c];
        }
        if (count > most) {
            most = count;
            best = c;
        }
    }
    return candidates[best];
}

struct csv_rows *csv_rows_new(const struct csv_rows_sink *sink, char separator)
{
    struct csv_rows *r = xcalloc(1, sizeof *r);
    r->sink = *sink;
    r->separator = separator;
    start_parser(r);
    return r;
}

void csv_rows_free(struct csv_rows *r)
{
    if (!r)
        return;
    csv_free(&r->parser);
    text_buffer_free(&r->text);
    text_buffer_free(&r->raw);
    free(r);
}

void csv_rows_line(void *arg, const char *line, size_t length, long number)
{
    struct csv_rows *r = arg;
    if (number == 1 && length >= 3 && memcmp(line, "\xEF\xBB\xBF", 3) == 0) {
        line += 3;
        length -= 3;
    }
    if (!line) {
        while (r->head < r->raw.length) {
            give_up(r, "the quoted field that begins here does not end");
            read_raw(r);
        }
        r->sink.refused(r->sink.arg, number, "the line is longer than 65536 bytes");
        return;
    }
    if (r->raw.length == 0 && !memchr(line, '"', length)) {
        plain_row(r, line, length, number);
        return;
    }
    if (r->raw.length == 0)
        r->head_line = number;
    text_append_bytes(&r->raw, line, length);
    text_append(&r->raw, "\n");
    read_raw(r);
}

void csv_rows_finish(struct csv_rows *r)
{
    while (r->head < r->raw.length) {
        give_up(r, "the quoted field that begins here does not end");
        read_raw(r);
    }
}
