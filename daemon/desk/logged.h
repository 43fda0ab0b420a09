/* How a logged complaint, and a case, stand to the lots, in JSON: what desk/placing.h sets. */
#ifndef ODDLOAF_DESK_LOGGED_H
#define ODDLOAF_DESK_LOGGED_H

#include "desk/desk.h"
#include "store/ranking.h"
#include <jansson.h>

/* "lots" is left if it is there; nothing is set of what cannot be read. */
void logged_json(const struct desk *desk, struct store *store, int64_t complaint_id, json_t *into);
/* As its complaint whose lot is surest, or the newest of those, with "moved_here", the cases that
 * were found to be this one, and with "holds" if any stands on its lot. `kept` (may be NULL) takes
 * lot, moved_here and harm. */
void logged_case_json(const struct desk *desk, struct store *store, int64_t case_id, json_t *into,
                      struct ranking *kept);
/* "doubts" of one complaint (desk/doubts.h). */
void logged_doubts(const struct desk *desk, struct store *store, int64_t complaint_id,
                   json_t *into);
/* "doubts" of the newest of its complaints (desk/doubts.h), each with its "complaint"; of several
 * that say the same, the newest. */
void logged_case_doubts(const struct desk *desk, struct store *store, int64_t case_id,
                        json_t *into);

#endif
