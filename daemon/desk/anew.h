/* A complaint found by id, and written anew: what it says has changed, so its lot is looked for
 * again where that may make a difference. Writing runs in the writer's transaction. */
#ifndef ODDLOAF_DESK_ANEW_H
#define ODDLOAF_DESK_ANEW_H

#include "desk/desk.h"
#include "store/complaint_place.h"

/* A complaint as it stands; `joined`: the uuid asked for is a report joined to it. `desk` is
 * borrowed. */
struct anew {
    const struct desk *desk;
    int64_t id, case_id, lot_id, received_ms, logged_ms;
    char uuid[UUID_TEXT], symptom[16];
    bool is_return, withdrawn, joined;
    json_t *body;
};
/* The complaint of that uuid, or the one it is joined to. ERROR_NOT_FOUND. */
int anew_find(const struct desk *desk, struct store *store, const char *uuid, struct anew *ret,
              struct error *err);
void anew_clear(struct anew *found);

/* Looks for its lot and case again, though it says what it said. */
int anew_place(struct store *store, const struct anew *was, const struct complaint_why *why,
               struct complaint_placed *ret, struct error *err);
/* What all its reports say together, after one was added to it, taken from it, or changed: `own` is
 * what the complaint itself says by now, without contact data, NULL: as before. Places it again if
 * a field that its lot or case is found by has changed; *ret is where it is then. */
int anew_tell(struct store *store, const struct anew *was, json_t *own,
              const struct complaint_why *why, struct complaint_placed *ret, struct error *err);

#endif
