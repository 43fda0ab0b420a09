/* A row of a laboratory's report, a name and what is said of it: whether it tells that nothing is
 * there, or only how it was looked for. */
#ifndef ODDLOAF_DESK_LAB_ROW_H
#define ODDLOAF_DESK_LAB_ROW_H

#include <stdbool.h>
#include <stddef.h>

/* "Salmonella: absent/25 g", "Glass: <1", "method: metal sieve"; not "Salmonella: detected in 25
 * g", nor a denial with anything behind it but its unit, nor a method that tells of a result. */
bool lab_row_denies(const char *name, size_t name_length, const char *said, size_t said_length);

/* The same of a row of several cells, "Salmonella,25 g,absent": a name of a few words, then nothing
 * but denials and measures. Not "Glass,0,5 mm", which may be half a millimetre of it. */
bool lab_row_cells_deny(const char *line, size_t length, char separator);

#endif
