/* Inside desk/ only: the plant's own codes in a text. Seven digits of a lot are no phone number. */
#ifndef ODDLOAF_DESK_APART_CODES_H
#define ODDLOAF_DESK_APART_CODES_H

#include "desk/desk.h"
#include "store/store.h"

/* `given` (lines, NULL none), and a line for every stretch of the text that is the code of a lot on
 * record or has letters and fits a pattern of rules/lots.json as a whole. `desk` NULL: those on
 * record alone. malloc'd. */
char *apart_codes(const struct desk *desk, struct store *store, const char *text,
                  const char *given);

#endif
