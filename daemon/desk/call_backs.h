/* The list of callers to be called back, in JSON: store/call_back.h. */
#ifndef ODDLOAF_DESK_CALL_BACKS_H
#define ODDLOAF_DESK_CALL_BACKS_H

#include "desk/desk.h"
#include "store/call_back.h"
#include <jansson.h>

struct call_backs_view {
    int32_t today; /* of the plant */
    bool shown;    /* contact data: to the desk alone */
};
/* [{"complaint","short","reference","case","symptom","state","due","overdue","why","by","user","asked_at",
 * "contact"}]: contact if `shown` and known. New reference. */
int call_backs_json(const struct desk *desk, struct store *store,
                    const struct call_back_query *query, const struct call_backs_view *view,
                    json_t **ret, struct error *err);
/* Those who report harm and left no way to call them:
 * [{"complaint","short","reference","case","symptom", "state","why"}]. New reference. */
int call_backs_lost_json(struct store *store, int limit, json_t **ret, struct error *err);

#endif
