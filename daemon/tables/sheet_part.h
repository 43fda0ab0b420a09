/* Inside tables/sheet*.c only: one XML part of a zip file, read as a stream. Whoever wrote the file
 * is not trusted: depth, bytes and names are bounded, a document type (and with it any entity) is
 * refused. */
#ifndef ODDLOAF_TABLES_SHEET_PART_H
#define ODDLOAF_TABLES_SHEET_PART_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sheet_zip;

/* The bytes are borrowed until sheet_zip_close(). ERROR_INVALID: no zip file, or a broken one. */
int sheet_part_open(const void *bytes, size_t length, struct sheet_zip **ret, struct error *err);
void sheet_part_close(struct sheet_zip *zip); /* NULL is fine */

/* Names are those behind the namespace; attributes NULL-ended pairs. A fault ends the reading. */
struct sheet_reader {
    int (*start)(void *arg, const char *name, const char **attributes, struct error *err);
    int (*end)(void *arg, const char *name, struct error *err);                 /* or NULL */
    int (*text)(void *arg, const char *text, size_t length, struct error *err); /* or NULL */
    void *arg;
};

/* Reads the part called `name`, without its first slash. ERROR_NOT_FOUND if there is none. */
int sheet_part_read(struct sheet_zip *zip, const char *name, const struct sheet_reader *reader,
                    struct error *err);
/* The attribute's value, NULL if there is none. */
const char *sheet_part_attribute(const char **attributes, const char *name);

#endif
