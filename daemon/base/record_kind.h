/* The kinds of production records: which columns each has, of what type, and which of them make
 * up its key. One table for the importer that checks rows and the store that writes them.
 *
 * A row is an array of cells in the order of its kind's columns, key columns first. */
#ifndef ODDLOAF_BASE_RECORD_KIND_H
#define ODDLOAF_BASE_RECORD_KIND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum record_kind {
    RECORD_PRODUCTS,
    RECORD_TARGETS,
    RECORD_LOTS,
    RECORD_MIXES,
    RECORD_USES,
    RECORD_READINGS,
    RECORD_PLANTLOG,
    RECORD_DISPATCH,
    RECORD_KINDS
};

/* What a column holds, and so how it is checked; the cell's form is given in brackets. */
enum record_type {
    RECORD_CODE,        /* a plant's own code: lot, mix, route [text] */
    RECORD_NAME,        /* a name for people [text] */
    RECORD_NOTE,        /* free text, may have line breaks [text] */
    RECORD_WORD,        /* lower-case word: material [text] */
    RECORD_FAMILY,      /* product family [text] */
    RECORD_GTIN,        /* made 14 digits [text] */
    RECORD_UNIT,        /* unit of an amount [text] */
    RECORD_PRESERVER,   /* kind of a preserving ingredient [text] */
    RECORD_APPLIED,     /* "dough" or "surface" [text] */
    RECORD_QUANTITY,    /* name of a quantity [text; the store keeps its id] */
    RECORD_PLACE,       /* [text] */
    RECORD_LOT_REF,     /* id of a lot that is there [whole] */
    RECORD_PRODUCT_REF, /* id of a product that is there [whole] */
    RECORD_WHEN,        /* milliseconds [whole] */
    RECORD_DAY,         /* days [whole] */
    RECORD_WHOLE,       /* [whole] */
    RECORD_REAL,        /* in the column's own unit [real] */
    RECORD_VALUE,       /* in the unit of the row's quantity [real] */
    RECORD_FOLD         /* made from the lot code, never in a file [text] */
};

enum record_flag {
    RECORD_REQUIRED = 1, /* must be in the header and not empty */
    RECORD_KEY = 2,
    RECORD_BLANK = 4,  /* not given is kept as empty text, not as unknown */
    RECORD_PACKED = 8, /* not given: the end of the lot's packing */
    RECORD_FIRST = 16, /* not given: day 0, before any lot */
};

struct record_column {
    const char *name; /* as in files */
    enum record_type type;
    unsigned flags;
};

#define RECORD_COLUMNS 12 /* at most, of one kind */

struct record_table {
    const char *kind; /* "products" … as commands and addresses name it */
    const struct record_column *columns;
    int count, keys;
};

const struct record_table *record_kind_table(enum record_kind kind);
bool record_kind_parse(const char *name, enum record_kind *ret);
/* Column's index or -1. */
int record_kind_column(const struct record_table *table, const char *name);

enum record_form { RECORD_NOTHING, RECORD_TEXT, RECORD_INTEGER, RECORD_NUMBER };

struct record_cell {
    enum record_form form;
    uint32_t length;  /* of text */
    const char *text; /* borrowed, NUL-terminated */
    int64_t integer;
    double number;
};

/* Same form and same content. */
bool record_kind_cell_equal(const struct record_cell *a, const struct record_cell *b);

#endif
