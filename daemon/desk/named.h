/* The complaint somebody means: by its id, how its id begins, or its number in another system. */
#ifndef ODDLOAF_DESK_NAMED_H
#define ODDLOAF_DESK_NAMED_H

#include "base/error.h"
#include "base/uuid.h"
#include "store/store.h"
#include <jansson.h>

/* ERROR_NOT_FOUND: none; ERROR_CONFLICT: several, the text lists the first with their receipt. A
 * whole id is taken as it is, whether there is such a complaint or not. */
int named_complaint(struct store *store, const char *word, char uuid[static UUID_TEXT],
                    struct error *err);
/* Sets "short", how the complaint's id begins and no other's: enough to name it. Nothing is set
 * where that cannot be read. */
void named_short_json(struct store *store, const char *uuid, json_t *into);
/* "C12", "c12", "12", or what a complaint is called: the case it is now. */
int named_case(struct store *store, const char *word, int64_t *ret, struct error *err);

#endif
