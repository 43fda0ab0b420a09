/* One cell of a CSV file (RFC 4180), safe to open in a spreadsheet and to read on a screen: what
 * one would run as a formula is told from a formula by an apostrophe before it, and what would
 * break a line or turn the direction of reading unseen is written out, "\u202E". Reading takes both
 * away again, so that every text comes back as it was. */
#ifndef ODDLOAF_BASE_CSV_CELL_H
#define ODDLOAF_BASE_CSV_CELL_H

#include "base/text.h"

/* Quoted; with the apostrophe if the text, or what apostrophes of its own begin, would be run. Of
 * control characters, tabs and line feeds stand as they are; a backslash before a "u" is written
 * out, too. */
void csv_cell_append(struct text_buffer *b, const char *text);
/* The bytes to leave out at the beginning of a cell that was read, once nothing in it is written
 * out any more (csv_cell_unmark()): 1 or 0. */
size_t csv_cell_escape(const char *text, size_t length);
/* What is written out is put back in place; others than those marks stay as they stand. `text` has
 * a NUL behind it. Returns the length. */
size_t csv_cell_unmark(char *text, size_t length);

#endif
