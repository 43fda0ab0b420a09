/* Reads a file of records that arrives in parts cut anywhere, checks every row, and stages the good
 * ones (stage.h). Memory does not grow with the file.
 *
 * CSV (csv_rows.h) has a header row; NDJSON has one object a line with the same names. A row that
 * is not right is refused with every fault of it; a header that is not right makes the whole file
 * unusable. The same key twice in a file with different values: all rows of it are refused, or with
 * `take_last` the last one stands. */
#ifndef ODDLOAF_RECORDS_IMPORT_H
#define ODDLOAF_RECORDS_IMPORT_H

#include "base/record_kind.h"
#include "records/refs.h"
#include "rules/catalogue.h"

enum import_format { IMPORT_CSV, IMPORT_NDJSON };

/* One fault: source, line, field (the column's name), value, text (the reason). */
typedef void (*import_refused)(void *arg, const struct error *why);

struct import_options {
    enum record_kind kind;
    enum import_format format;
    const char *source;                /* named in refusals */
    const char *path;                  /* of the staging file, must not exist */
    const struct catalogue *catalogue; /* referenced */
    import_refused refused;
    void *refused_arg;
    bool take_last;
};

struct import_counts {
    int64_t read;        /* rows of the file so far */
    int64_t refused;     /* of them; a row may have several faults */
    int64_t accepted;    /* rows staged */
    int64_t idle;        /* accepted, but with nothing in them to store */
    int64_t passed_over; /* neither: a later row of the same key stands, as was asked for */
    bool unusable;       /* the header was refused: nothing after it counts */
};

struct import;

int import_new(const struct import_options *options, struct import **ret, struct error *err);
void import_free(struct import *import); /* the staging file stays. NULL is fine */
/* Errors are the system's (disk full, store); after one the import cannot go on. */
int import_feed(struct import *import, const struct refs_source *refs, const char *bytes,
                size_t length, struct error *err);
/* The rest of the file, rows that contradict each other, and the staging file on disk. */
int import_finish(struct import *import, const struct refs_source *refs, struct error *err);
struct import_counts import_counts(const struct import *import);

#endif
