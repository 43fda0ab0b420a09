#include "tell/reach_lot.h"
#include "tell/hold_json.h"
#include <string.h>

static json_t *routes_of(const struct lot_record *record)
{
    json_t *routes = json_array();
    const char *last = "";
    for (int i = 0; i < record->dispatch_count; i++) {
        /* dispatches come by route */
        if (strcmp(record->dispatches[i].route, last) != 0)
            json_array_append_new(routes, json_string(record->dispatches[i].route));
        last = record->dispatches[i].route;
    }
    return routes;
}

/* Of a lot that is destroyed or reworked nothing can be held: who reads the list has to see it. */
static void mark_gone(struct store *store, int64_t lot_id, json_t *into)
{
    const struct hold_of of = {.lot_id = lot_id};
    struct text_buffer gone = {0};
    if (hold_gone(store, &of, &gone, NULL) == 0 && gone.length)
        json_object_set_new(into, "came_of_it", json_string(gone.data));
    text_buffer_free(&gone);
}

json_t *reach_lot_json(const struct tz *tz, struct store *store, const struct lot_record *record,
                       int32_t today, json_t *because)
{
    char code_date[16];
    json_t *lot = json_pack("{s:s, s:I, s:s, s:b, s:s, s:s, s:o, s:o}", "lot", record->lot.lot,
                            "units", (json_int_t)record->lot.units, "code_date",
                            day_format(record->lot.code_day, code_date), "in_code",
                            record->lot.code_day >= today, "product", record->lot.product, "line",
                            record->lot.line, "routes", routes_of(record), "because", because);
    hold_json_mark(store, tz, record->lot.lot_id, lot);
    mark_gone(store, record->lot.lot_id, lot);
    return lot;
}
