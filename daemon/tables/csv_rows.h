/* Rows out of the lines of a CSV file (RFC 4180, any separator; LF alone ends a line too, a byte
 * order mark at the start is skipped, blank lines are no rows). Blanks are data.
 *
 * A stray quote does not swallow the rest of the file: the line where a broken record began is
 * refused, and reading goes on with the line after it. */
#ifndef ODDLOAF_TABLES_CSV_ROWS_H
#define ODDLOAF_TABLES_CSV_ROWS_H

#include <stddef.h>

#define CSV_ROWS_BYTES 65536 /* of one record or line */
#define CSV_ROWS_FIELDS 256  /* of one record: those after it are counted, not kept */

struct csv_field {
    char *text; /* NUL-terminated, may be changed; lives until the callback returns */
    size_t length;
};

struct csv_rows_sink {
    /* `line` is where the record begins. `count` may exceed CSV_ROWS_FIELDS. */
    void (*row)(void *arg, long line, struct csv_field *fields, size_t count);
    void (*refused)(void *arg, long line, const char *reason);
    void *arg;
};

struct csv_rows;

struct csv_rows *csv_rows_new(const struct csv_rows_sink *sink, char separator);
/* The separator that a header line uses most: comma, semicolon or tab. */
char csv_rows_separator(const char *line, size_t length);
void csv_rows_free(struct csv_rows *rows);
/* A lines_each; `arg` is the csv_rows. */
void csv_rows_line(void *arg, const char *line, size_t length, long number);
/* After the last line. */
void csv_rows_finish(struct csv_rows *rows);

#endif
