#include "desk/taken_at.h"
#include "base/jsonx.h"
#include "desk/event.h"
#include "desk/outgoing.h"
#include "desk/passed_on.h"
#include "store/case.h"
#include <assert.h>
#include <string.h>

/* Who gets urgent mail of a plant, by the settings. Borrowed. */
static const json_t *urgent_list(const struct desk *desk, const char *plant)
{
    const json_t *lists = json_object_get(desk->plants, plant);
    const json_t *urgent = json_object_get(lists, "mail/urgent_to");
    return json_array_size(urgent) ? urgent : json_object_get(lists, "mail/to");
}

/* All who would get it have the case's own mail. */
static bool all_are_told(const struct desk *desk, const char *taker, const char *owner)
{
    size_t i;
    const json_t *address, *told = urgent_list(desk, owner);
    json_array_foreach(urgent_list(desk, taker), i, address)
    {
        if (!jsonx_holds(told, address))
            return false;
    }
    return true;
}

static json_t *event_of(const struct desk *desk, const struct taken_at *of)
{
    /* not why: it may quote what the other plant wrote */
    static const char *const SAME[] = {"harm",  "possible", "harm_heard",
                                       "grave", "contact",  "said"};
    json_t *about = json_object();
    passed_on_json(about);
    json_t *event = event_urgent(desk->plant, json_object_get(of->urgent, "needs"),
                                 json_object_get(of->urgent, "said"), about);
    for (size_t i = 0; i < sizeof SAME / sizeof SAME[0]; i++) {
        json_t *value = json_object_get(of->urgent, SAME[i]);
        if (value)
            json_object_set(event, SAME[i], value);
    }
    json_object_set_new(event, OUTBOX_PLANT, json_string(of->plant));
    json_object_set_new(event, OUTBOX_PLANT_ALONE, json_true());
    json_decref(about);
    return event;
}

int taken_at_tell(const struct desk *desk, struct store *store, const struct taken_at *of,
                  struct error *err)
{
    assert(store_writing(store));
    struct case_row row;
    char message_id[128];
    if (!of->plant || !of->case_id)
        return 0;
    int rc = case_get(store, of->case_id, &row, err);
    if (rc || strcmp(row.plant, of->plant) == 0 || all_are_told(desk, of->plant, row.plant))
        return rc;
    event_message_id(desk->mail_domain, of->now_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {
        .event = OUTBOX_URGENT, .message_id = message_id, .created_ms = of->now_ms};
    return outgoing_add(store, &mail, event_of(desk, of), err);
}
