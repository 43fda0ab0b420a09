/* One sheet of an .xlsx workbook (ECMA-376) made the CSV that its spreadsheet would save: numbers
 * as they are kept, cached values of formulas, TRUE and FALSE, dates and times by the cell's style
 * as "2026-11-20", "09:14" or "2026-11-20 09:14". Row N stands on line N, blank rows are blank
 * lines; a line break in a cell is a blank; of merged cells the first has the value, as in any CSV.
 * All rows are as wide as the first that is not blank.
 *
 * The file is not trusted: see sheet_part.h for what bounds its unpacking. */
#ifndef ODDLOAF_TABLES_SHEET_H
#define ODDLOAF_TABLES_SHEET_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

#define SHEET_BYTES ((size_t)64 << 20) /* of a file, packed */

struct sheet_options {
    const char *name; /* of the sheet; NULL the first that is not hidden */
    char decimal;     /* '.' or ',': how numbers are written */
};

/* Takes a piece of the CSV; not 0 stops the reading and is returned. */
typedef int (*sheet_put)(void *arg, const char *bytes, size_t length);

int sheet_read(const void *bytes, size_t length, const struct sheet_options *options, sheet_put put,
               void *arg, struct error *err);
/* Whether a file begins as an .xlsx does, or as a workbook of the old form. */
bool sheet_begins(const char *bytes, size_t length);

#endif
