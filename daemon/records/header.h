/* Column names of record files: what `name` or `name [unit]` means for a kind of record. */
#ifndef ODDLOAF_RECORDS_HEADER_H
#define ODDLOAF_RECORDS_HEADER_H

#include "base/record_kind.h"
#include "rules/catalogue.h"

#define HEADER_NAME 80
#define HEADER_UNIT 24

struct header_column {
    char name[HEADER_NAME]; /* as the file spells it, for refusals */
    int column;             /* of the kind's table; -1: a quantity as a column of its own */
    const struct catalogue_quantity *quantity; /* of a column of its own */
    const struct catalogue_column *number;     /* unit and range of RECORD_REAL, RECORD_WHOLE */
    char unit[HEADER_UNIT];                    /* given in brackets; "" the column's own */
};

/* Reads one name. ERROR_INVALID with the reason in err->text if it means nothing here. */
int header_column(const struct catalogue *catalogue, enum record_kind kind, const char *text,
                  struct header_column *ret, struct error *err);

#define HEADER_COLUMNS 200

/* A set of columns that a row, or all rows, have. */
struct header {
    struct header_column columns[HEADER_COLUMNS];
    int count;
    int at[RECORD_COLUMNS]; /* index in `columns` of each column of the kind, -1 absent */
    bool wide;              /* readings with one column a quantity */
};

/* Places the columns read so far and tells of each fault of the set: columns twice, required ones
 * missing, long and wide mixed. Returns the number of faults. */
typedef void (*header_fault)(void *arg, const char *name, const char *reason);
int header_settle(struct header *header, enum record_kind kind, header_fault fault, void *arg);

#endif
