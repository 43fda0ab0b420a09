/* Complaints in a file, one a row: CSV with a column map, or JSON lines. */
#ifndef ODDLOAF_CLIENT_DELIVER_COMPLAINT_ROWS_H
#define ODDLOAF_CLIENT_DELIVER_COMPLAINT_ROWS_H

#include "deliver/source.h"
#include "form/form.h"
#include "tables/column_map.h"
#include <jansson.h>

struct row {
    long line;
    json_t *complaint;           /* what could be read of it; "unread": {column: text} of those
                                  * that mean nothing to us, for the daemon to hear */
    bool readable;               /* false: those are its words only, as a note; see `refused` */
    const struct error *refused; /* the first thing wrong with it, NULL if nothing is */
    json_t *faults; /* of the values the complaint lacks for it: complaint_form_fault() */
};

/* What the row points to is borrowed. Non-zero stops the reading and is returned. */
typedef int (*row_each)(void *arg, const struct row *row);

/* What the cells of a file mean. */
struct complaint_rows_meaning {
    const struct column_map *map; /* which column is which field */
    const struct form_day *day;   /* what its dates are read against */
};
/* What is to be said of the whole file. */
struct complaint_rows_seen {
    char *unused; /* columns that mean nothing to us, comma-separated; NULL: none; caller frees */
    long dates_by_plant; /* that can be read either way, where nothing in the file told */
};
/* Errors are those of the file as a whole: no header, quotes that never end. The first 10,000 rows
 * are read before any is told of. */
int complaint_rows_csv(struct source *s, const struct complaint_rows_meaning *meaning,
                       row_each each, void *arg, struct complaint_rows_seen *ret,
                       struct error *err);
int complaint_rows_ndjson(struct source *s, row_each each, void *arg, struct error *err);

#endif
