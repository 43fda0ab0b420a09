#include "tell/hold_json.h"
#include "base/short_id.h"
#include "base/tz_of.h"
#include <stdio.h>

json_t *hold_json(const struct tz *tz, const struct hold_row *row)
{
    char at[40];
    tz = tz_of(tz, row->plant);
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:o}", "hold", HOLD_ID(row->id), "lot",
                     row->lot, "reason", row->reason, "by", row->by_name, "user", row->user, "at",
                     when_format(tz, row->at_ms, at), "case", CASE_ID_JSON(row->case_id));
}

struct listing {
    const struct tz *tz;
    json_t *list;
};

static int add_standing(void *arg, const struct hold_row *row)
{
    const struct listing *l = arg;
    if (row->ended_ms == WHEN_UNKNOWN_MS)
        json_array_append_new(l->list, hold_json(l->tz, row));
    return 0;
}

json_t *hold_json_of(struct store *store, const struct tz *tz, const struct hold_of *of)
{
    struct listing l = {tz, json_array()};
    hold_each_of(store, of, add_standing, &l, NULL);
    return l.list;
}

void hold_json_mark(struct store *store, const struct tz *tz, int64_t lot_id, json_t *into)
{
    const struct hold_of of = {.lot_id = lot_id};
    if (lot_id <= 0)
        return;
    json_t *holds = hold_json_of(store, tz, &of);
    if (json_array_size(holds))
        json_object_set(into, "holds", holds);
    json_decref(holds);
}
