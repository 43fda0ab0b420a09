/* A map proposed for a plant's own table: which kind of record it is, which columns are ours, how
 * its dates and numbers are written. By names and what plants call things, and by what stands in
 * the columns. A proposal: whoever knows the file looks at it. */
#ifndef ODDLOAF_TABLES_COLUMN_GUESS_H
#define ODDLOAF_TABLES_COLUMN_GUESS_H

#include "base/error.h"
#include "base/record_kind.h"
#include <jansson.h>
#include <stddef.h>

/* `csv` is the beginning of the file, some hundred rows. `kind` is the kind it is known to be, or
 * NULL. *ret_map is a map as column_map.h has it; *ret_notes a list of texts: what could be read
 * two ways and how it was, what was not found. New references. ERROR_INVALID: nothing in it is
 * known. */
int column_guess(const char *csv, size_t length, const enum record_kind *kind, json_t **ret_map,
                 json_t **ret_notes, struct error *err);

#endif
