/* A row of a laboratory's report, a name and what is said of it: whether it tells that nothing is
 * there, and of how it was looked for only what is none of its tools. By the words of `harm`
 * (intake/harm.h); where it has none for a laboratory, no row denies. */
#ifndef ODDLOAF_DESK_LAB_ROW_H
#define ODDLOAF_DESK_LAB_ROW_H

#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/* False: it denies, "Salmonella: absent/25 g", "Glass: <1"; not "Salmonella: detected in 25 g", nor
 * a denial with anything behind it but its unit. Else what it says is appended to `out`, to be
 * heard; of a method ("equipment: metal sieve") without what it looks for and works with, unless it
 * tells of a result, of somebody or that something happened ("glass cover broke"). */
bool lab_row_tells(const json_t *harm, const char *name, size_t name_length, const char *said,
                   size_t said_length, struct text_buffer *out);

/* A result whose name no word list has is half the sentence: "glass_pieces" and "3" are "glass
 * pieces 3", to be heard; `name` is "" of one that the rules know. False: it denies. */
bool lab_row_result(const json_t *harm, const char *name, const char *said,
                    struct text_buffer *out);

/* Whether a row of several cells denies, "Salmonella,25 g,absent": a name of a few words, then
 * nothing but denials and measures. Not "Glass,0,5 mm", which may be half a millimetre of it. */
bool lab_row_cells_deny(const json_t *harm, const char *line, size_t length, char separator);

#endif
