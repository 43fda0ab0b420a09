/* Checking one row of records: every value by the type of its column, then the row as a whole.
 * All faults of a row are told. What is good comes out as cells ready for the store, in the units
 * of the catalogue. */
#ifndef ODDLOAF_RECORDS_CHECK_H
#define ODDLOAF_RECORDS_CHECK_H

#include "base/length.h"
#include "records/header.h"
#include "records/refs.h"
#include "rules/catalogue.h"

#define CHECK_NOTE_BYTES 2000

enum check_form { CHECK_ABSENT, CHECK_TEXT, CHECK_NUMBER, CHECK_TRUTH, CHECK_OTHER };

/* A value as the file has it. Text is NUL-terminated and may be changed. */
struct check_value {
    enum check_form form;
    char *text;
    size_t length;
    double number; /* CHECK_TRUTH: 0 or 1 */
};

/* `reason` says what is wrong with `value` in the column called `name`. */
typedef void (*check_refused)(void *arg, const char *name, const char *value, const char *reason);

struct check_measured { /* of a wide row */
    const struct catalogue_quantity *quantity;
    double value;
};

/* A row that passed. Text lives until the next check_row(). */
struct check_row {
    struct record_cell cells[RECORD_COLUMNS]; /* wide: without quantity and value */
    struct check_measured measured[HEADER_COLUMNS];
    int measured_count;
};

struct check;

/* The catalogue is borrowed. */
struct check *check_new(enum record_kind kind, const struct catalogue *catalogue,
                        check_refused refused, void *arg);
void check_free(struct check *check); /* NULL is fine */

/* `values` in the order of the header's columns. *ret_row is NULL if the row was refused. Errors
 * are the system's. */
int check_row(struct check *check, const struct refs_source *source, const struct header *header,
              struct check_value *values, const struct check_row **ret_row, struct error *err);

#endif
