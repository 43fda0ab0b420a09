/* Harm that a report spoke of and that a correction took back: whoever corrects what is said of
 * harm has read it, and what was sent before is no news when it comes again. */
#ifndef ODDLOAF_DESK_TAKEN_BACK_H
#define ODDLOAF_DESK_TAKEN_BACK_H

#include "desk/desk.h"

/* {"harm": [its words], "by", "at", "reason"} if all words of `harm` were said of the report `uuid`
 * before and its newest correction of harm left none. New reference; NULL otherwise. */
json_t *taken_back_find(const struct desk *desk, struct store *store, const char *uuid,
                        const json_t *harm);
/* That, for people. New reference. */
json_t *taken_back_told(const json_t *taken_back);
/* Has anybody corrected what it says of harm? */
bool taken_back_read(struct store *store, const char *uuid);

#endif
