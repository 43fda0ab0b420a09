/* One cell of a CSV file (RFC 4180), safe to open in a spreadsheet: what one would run as a formula
 * is told from a formula by an apostrophe before it. Reading takes that one away again, so that
 * every text comes back as it was. */
#ifndef ODDLOAF_BASE_CSV_CELL_H
#define ODDLOAF_BASE_CSV_CELL_H

#include "base/text.h"

/* Quoted; with the apostrophe if the text, or what apostrophes of its own begin, would be run. */
void csv_cell_append(struct text_buffer *b, const char *text);
/* The bytes to leave out at the beginning of a cell that was read: 1 or 0. */
size_t csv_cell_escape(const char *text, size_t length);

#endif
