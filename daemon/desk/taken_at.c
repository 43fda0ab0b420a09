#include "desk/taken_at.h"
#include "desk/event.h"
#include "desk/outgoing.h"
#include "desk/passed_on.h"
#include "store/case.h"
#include <assert.h>
#include <string.h>

/* Who gets urgent mail of either, by the settings: nobody is told twice. */
static bool same_lists(const struct desk *desk, const char *one, const char *other)
{
    static const char *const LISTS[] = {"mail/urgent_to", "mail/to"};
    const json_t *a = json_object_get(desk->plants, one), *b = json_object_get(desk->plants, other);
    for (size_t i = 0; i < sizeof LISTS / sizeof LISTS[0]; i++) {
        const json_t *of_a = json_object_get(a, LISTS[i]), *of_b = json_object_get(b, LISTS[i]);
        if (of_a != of_b && !json_equal(of_a, of_b))
            return false;
    }
    return true;
}

static json_t *event_of(const struct desk *desk, const struct taken_at *of)
{
    static const char *const SAME[] = {"harm",    "possible", "harm_heard", "grave",
                                       "contact", "why",      "said"};
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
    if (rc || strcmp(row.plant, of->plant) == 0 || same_lists(desk, of->plant, row.plant))
        return rc;
    event_message_id(desk->mail_domain, of->now_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {
        .event = OUTBOX_URGENT, .message_id = message_id, .created_ms = of->now_ms};
    return outgoing_add(store, &mail, event_of(desk, of), err);
}
