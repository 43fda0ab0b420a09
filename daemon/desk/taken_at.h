/* Harm in a complaint that one plant's people took and that is another's: its mail goes to the
 * people of that plant. Those who took it are mailed what they heard, and nothing of the lot. */
#ifndef ODDLOAF_DESK_TAKEN_AT_H
#define ODDLOAF_DESK_TAKEN_AT_H

#include "desk/desk.h"
#include <jansson.h>

/* All borrowed. */
struct taken_at {
    const char *plant;    /* whose people took it; NULL: of none alone */
    int64_t case_id;      /* that it is logged in */
    const json_t *urgent; /* the event of its mail */
    int64_t now_ms;
};
/* Nothing where all who would get it have the case's own mail. In the writer's transaction. */
int taken_at_tell(const struct desk *desk, struct store *store, const struct taken_at *of,
                  struct error *err);

#endif
