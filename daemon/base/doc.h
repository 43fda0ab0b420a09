/* One checker of JSON documents (rule files, the config): a table of rows says which members an
 * object has; reading fills a struct with their values and reports every fault with its line and
 * column. A member that no row names is a fault. What a table cannot say (curves, patterns) is read
 * by functions that a row names, and reports its faults at the same places.
 *
 *     static const struct doc_row ROWS[] = {
 *         {"place", DOC_CHARS, DOC_AT(struct place, id), .required = true},
 *         {"zone", DOC_WHOLE, DOC_AT(struct place, zone), .low = 1, .high = 4},
 *         {0}};
 *
 * A member that is missing leaves the struct as it is: set the defaults before. */
#ifndef ODDLOAF_BASE_DOC_H
#define ODDLOAF_BASE_DOC_H

#include "base/error.h"
#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/* Told of each fault: source, line, column, field (an RFC 6901 pointer), value, text. */
typedef void (*doc_report)(void *arg, const struct error *fault);

/* One file and what was found wrong in it. Zero-initialise but for `report`, `arg` and `context`,
 * which are the caller's; doc_close() ends it. */
struct doc {
    doc_report report; /* may be NULL */
    void *arg;
    void *context;      /* for the functions that rows name */
    const char *source; /* the path; borrowed */
    struct text_buffer text;
    json_t *root;       /* an object, once doc_open() returned 0 */
    size_t fault_count; /* of this file */
    struct error first; /* code 0: no fault yet; may be taken over from the file before */
};

/* Where a value stands: an element or member of what stands at `parent`. Lives on the stack of
 * whoever walks down, so a place is valid as long as its parents are. */
struct doc_place {
    struct doc *doc;
    const struct doc_place *parent; /* NULL: the document */
    const char *name;               /* of the member; NULL: element `index` */
    size_t index;
    const json_t *value; /* NULL: missing */
};

enum doc_kind {
    DOC_ANY,    /* known, not looked at */
    DOC_TEXT,   /* const char *: the document's own */
    DOC_CHARS,  /* char []: a copy; what does not fit is a fault */
    DOC_WORD,   /* int or an enum: index into `words` */
    DOC_NUMBER, /* double */
    DOC_WHOLE,  /* int */
    DOC_FLAG,   /* bool */
    DOC_DAY,    /* int32_t: a date "2026-11-20" as day number (base/when.h) */
    DOC_TEXTS,  /* const json_t *: list of texts that say something; the document's own */
    DOC_OBJECT, /* members by `rows`, into what stands at the offset */
    /* of these a function `each`, given what stands at the offset, reads */
    DOC_LIST, /* every element */
    DOC_MAP,  /* every member of an object of any names */
    DOC_OTHER /* the value */
};

struct doc_row {
    const char *name;
    enum doc_kind kind;
    bool required;            /* missing is a fault */
    bool empty;               /* a text may say nothing */
    size_t at, size;          /* of the value in the struct: DOC_AT() */
    double low, high;         /* a number's range, or how many entries or members; both 0: any */
    const char *const *words; /* NULL-ended: what a text may be */
    const struct doc_row *rows;
    void (*each)(const struct doc_place *place, void *part);
};

#define DOC_AT(type, member) .at = offsetof(type, member), .size = sizeof(((type *)0)->member)

/* Reads and parses the file; it must hold an object. A fault is reported and its code returned; a
 * file that is not there is no fault if it is `optional`, but ERROR_NOT_FOUND all the same. */
int doc_open(struct doc *doc, const char *path, bool optional);
/* The same of a text at hand. `source` is borrowed until doc_close(), the text is copied. */
int doc_parse(struct doc *doc, const char *source, const char *text, size_t length);
/* Takes an object that another document of `source` read already, and has a reference to: it is not
 * parsed again, and what is found wrong in it has no line. */
void doc_share(struct doc *doc, const char *source, const json_t *root);
void doc_close(struct doc *doc); /* values that are the document's own end here */

/* Folders may lie one behind another: `dirs` is one, or several as "FIRST:SECOND", and a file of an
 * earlier one stands for that of the same name in those behind it. One that is not there has no
 * files. */

/* Opens every NAME.json in the order of the names' bytes, hidden ones left out, and calls `each`
 * with those that are open (`stem`: NAME). What doc_masked() is not opened, nor what it hides.
 * Returns how many there are; a folder that cannot be read is a fault, its code returned. */
int doc_each(struct doc *doc, const char *dirs,
             void (*each)(struct doc *doc, const char *stem, void *arg), void *arg);

/* Whether the file is a link to /dev/null: it takes away what lies behind it. */
bool doc_masked(const char *path);
/* The path of a file by its name below them; of one that is nowhere, below the last. Replaces what
 * `out` holds. */
void doc_path(const char *dirs, const char *name, struct text_buffer *out);
/* Appends the folders of that name below them, as `dirs` again. */
void doc_below(const char *dirs, const char *name, struct text_buffer *out);

struct doc_place doc_top(struct doc *doc);
struct doc_place doc_member(const struct doc_place *object, const char *name);
struct doc_place doc_element(const struct doc_place *list, size_t index);

/* Reads an object by its rows, which end with one without a name. `into` is filled as far as it
 * goes. False if a fault was found. */
bool doc_read(const struct doc_place *object, const struct doc_row *rows, void *into);
/* One value as a row's own member would be read; the row's name is not looked at. `into` is never
 * NULL, also where nobody reads it. */
bool doc_value(const struct doc_place *place, const struct doc_row *row, void *into);

/* Reports a fault of the value at the place (missing: of the object around it). */
void doc_fault(const struct doc_place *place, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* The same with a code and a hint of its own; line, column, field and value are the place's. */
void doc_fault_as(const struct doc_place *place, const struct error *why);
/* A fault of no place in a document: its source, line and column are the caller's. */
void doc_pass_on(struct doc *doc, const struct error *fault);

#endif
