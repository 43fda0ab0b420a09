/* Everything on record that is not worked out from the rest, table by table, for people and other
 * programs: names, columns and what they mean. Records come in the columns that a load takes. */
#ifndef ODDLOAF_STORE_EXPORT_H
#define ODDLOAF_STORE_EXPORT_H

#include "base/record_kind.h"
#include "store/store.h"

enum export_form { EXPORT_TEXT, EXPORT_TIME, EXPORT_DAY, EXPORT_NUMBER };

struct export_column {
    const char *name;
    enum export_form form; /* times are cells of milliseconds, days of days */
    const char *what;
};

enum { EXPORT_COLUMNS = 16 };
struct export_table {
    const char *name; /* "lots" */
    const char *what;
    const struct export_column *columns;
    int count;
    const char *first, *last, *rows; /* inside: statements */
    int64_t span;                    /* inside: of keys, in one look */
};
/* In the order in which a fresh daemon loads what of them it takes; *ret_count of them. */
const struct export_table *export_tables(int *ret_count);
const struct export_table *export_table(const char *name); /* NULL: there is none */

typedef int (*export_each)(void *arg, const struct record_cell *cells, int count);
/* How far one has come. */
struct export_cursor {
    int64_t at; /* the last key; INT64_MIN: none yet */
    bool more;
};
/* The rows of the next keys; `more` false: those were the last. Text lives until the callback
 * returns; its non-zero answer stops and is returned. */
int export_next(struct store *store, const struct export_table *table, struct export_cursor *cursor,
                export_each each, void *arg, struct error *err);

/* What was decided, as commands that decide it again: the first cell is the command, those of
 * columns without a name are its words, the others its options (a number: one without a value). */
const struct export_table *export_decisions(int *ret_count);

/* Lots made and sent, by lot: whether sent, lot, product, gtin, at, units, code date, route, store.
 */
const struct export_table *export_events(void);

/* Complaints as a client sends them and as they stand, each kind in the order they were logged.
 * Text lives until the callback returns, which may read the store. */
enum export_of {
    EXPORT_STANDING,  /* by themselves */
    EXPORT_JOINED,    /* reports that repeat one of those */
    EXPORT_WITHDRAWN, /* both, of complaints that count nowhere */
};
struct export_complaint {
    int64_t complaint_id;
    const char *report;  /* its contact's: store/contact.h */
    const char *body;    /* JSON, without contact */
    const char *same_as; /* uuid of the complaint it was joined to, "" none */
};
typedef int (*export_complaint_each)(void *arg, const struct export_complaint *complaint);
int export_complaints(struct store *store, enum export_of of, struct export_cursor *cursor,
                      export_complaint_each each, void *arg, struct error *err);

#endif
