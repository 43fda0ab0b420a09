/* What to ask of a case next. */
#ifndef ODDLOAF_DESK_CASE_ASKS_H
#define ODDLOAF_DESK_CASE_ASKS_H

#include "desk/desk.h"
#include "store/store.h"

/* {"case","as_of","ask","says","harm","harm_possible"}: by what it would tell of the causes; "says"
 * what would tell most, where no answer changes what is done. Of harm, and of a kind without
 * causes, what harm.json has. Where harm may be meant that comes first. New reference. */
int case_asks_json(const struct desk *desk, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err);

#endif
