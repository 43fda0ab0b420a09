/* Numbers as files write them: decimal comma, signs between thousands, a unit behind. */
#ifndef ODDLOAF_TABLES_CELL_NUMBER_H
#define ODDLOAF_TABLES_CELL_NUMBER_H

#include <stdbool.h>
#include <stddef.h>

/* Writes the number that `text` begins with to `out` as text_to_double() takes it, and where what
 * follows it begins to *ret_rest. `thousands` '\0': none; each such sign must stand before three
 * digits. False if it is no number so written. */
bool cell_number(const char *text, char decimal, char thousands, char out[static 40],
                 const char **ret_rest);

#endif
