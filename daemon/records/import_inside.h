/* Inside records/import*.c only. */
#ifndef ODDLOAF_RECORDS_IMPORT_INSIDE_H
#define ODDLOAF_RECORDS_IMPORT_INSIDE_H

#include "base/jsonx.h"
#include "records/check.h"
#include "records/import.h"
#include "records/key_index.h"
#include "records/stage.h"
#include "tables/csv_rows.h"
#include "tables/lines.h"

enum { IMPORT_NAMES = 256 };

/* Names that NDJSON rows use, read once. */
struct import_name {
    char *text; /* NULL: free */
    struct header_column column;
};

struct import {
    enum record_kind kind;
    enum import_format format;
    char *source, *path;
    struct catalogue *catalogue;
    const struct record_table *table;
    struct check *check;
    struct stage *stage;
    struct key_index *keys;
    struct lines lines;
    struct csv_rows *csv;
    struct header header; /* CSV: of the file; NDJSON: of the row at hand */
    bool header_read, take_last;
    struct import_name *names; /* NDJSON: IMPORT_NAMES of them */
    struct import_counts counts;
    import_refused refused;
    void *refused_arg;
    /* of the call at hand */
    const struct refs_source *refs;
    struct error *err;
    int code; /* of a system error: the import is over */
    /* of the row at hand */
    long line;
    bool row_refused;
};

/* Tells of a fault of the row at hand (`name` NULL: of the row itself). */
void import_fault(struct import *import, const char *name, const char *value, const char *reason);
/* A header_fault and, with `value`, a check_refused. */
void import_header_fault(void *arg, const char *name, const char *reason);
/* Checks and stages the row at hand. `values` as in import->header. */
void import_row(struct import *import, struct check_value *values);

/* A lines_each over NDJSON. */
void import_json_line(void *arg, const char *line, size_t length, long number);
void import_names_free(struct import *import);

/* Finds and drops rows that contradict an earlier one (import_twice.c). */
int import_drop_twice(struct import *import, struct error *err);

#endif
