#include "desk/alarm.h"
#include "base/short_id.h"
#include "desk/event.h"
#include "desk/logged.h"
#include "desk/outgoing.h"
#include "desk/told.h"
#include "intake/harm.h"
#include "store/case.h"
#include "store/ranking.h"
#include <assert.h>
#include <string.h>

/* "a correction took it back, by Dana: the caller meant another bread" */
static json_t *why_json(const struct alarm *a)
{
    return json_sprintf("%s, by %s: %s", a->what, a->why->by, a->why->reason);
}

static void set_case(json_t *event, const char *name, int64_t case_id)
{
    json_object_set_new(event, name, CASE_ID_JSON(case_id));
}

static int queue(struct store *store, const char *kind, const struct alarm *a, json_t *event,
                 bool *ret_gathered, struct error *err)
{
    char message_id[128];
    event_message_id(a->desk->mail_domain, a->why->at_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {.event = kind,
                                    .case_id = a->placed->case_id,
                                    .message_id = message_id,
                                    .created_ms = a->why->at_ms};
    bool harm = strcmp(kind, OUTBOX_URGENT) == 0 && !a->taken_back && !a->at_once;
    return outgoing_add_urgent(store, &mail, harm ? harm_gather_ms(a->desk->harm) : 0, event,
                               ret_gathered, err);
}

int alarm_queue(struct store *store, const struct alarm *a, struct error *err)
{
    assert(store_writing(store));
    assert(a->desk && a->placed && a->body);
    json_t *said = told_complaint(a->body, a->contact), *lot = json_object();
    bool possible = !a->taken_back && !json_array_size(json_object_get(a->body, "harm"));
    logged_json(a->desk, store, a->placed->complaint_id, lot);
    json_object_set_new(lot, "why", why_json(a));
    json_t *event = event_urgent(a->desk->plant, harm_needs_of(a->desk->harm, possible), said, lot);
    if (a->heard)
        json_object_update_new(
            event, json_pack("{s:O, s:s}", "harm_heard", (json_t *)a->heard, "heard_in", a->what));
    if (possible)
        event_urgent_possible(event);
    event_urgent_grave(event, a->desk->harm,
                       a->heard ? a->why->reason
                                : json_string_value(json_object_get(a->body, "note")));
    if (a->taken_back) {
        json_object_set(event, "harm", (json_t *)a->taken_back);
        json_object_set_new(event, "taken_back", json_true());
        json_object_set_new(event, "needs", json_array());
    }
    set_case(event, "case", a->placed->case_id);
    if (a->placed->case_id != a->case_was)
        set_case(event, "case_was", a->case_was);
    json_object_set_new(event, "said", said);
    json_object_set_new(event, "made", told_lot(store, a->desk->tz, a->placed->lot_id));
    json_decref(lot);
    bool gathered = false;
    int rc = queue(store, OUTBOX_URGENT, a, event, &gathered, err);
    if (!rc && !a->taken_back)
        rc = case_flag_harm(store, a->placed->case_id, err);
    if (a->gathered)
        *a->gathered = gathered;
    return rc;
}

/* Was QA told of it, and has it no complaint, or just one again? */
static bool is_news(struct store *store, int64_t case_id, bool back)
{
    struct ranking mailed = {0};
    struct case_row row;
    bool told = ranking_last_mailed(store, case_id, &mailed, NULL) == 0;
    ranking_clear(&mailed);
    return told && case_get(store, case_id, &row, NULL) == 0 && row.id == case_id &&
           row.complaints == (back ? 1 : 0);
}

int alarm_case_emptied(struct store *store, const struct alarm *a, bool back, struct error *err)
{
    assert(store_writing(store));
    assert(a->desk && a->placed);
    if (!is_news(store, a->placed->case_id, back))
        return 0;
    json_t *event =
        json_pack("{s:s, s:s, s:b, s:o, s:O?}", "event", "emptied", "plant", a->desk->plant, "back",
                  (int)back, "why", why_json(a), "complaint", json_object_get(a->body, "id"));
    json_object_set(event, "symptom", json_object_get(a->body, "symptom"));
    set_case(event, "case", a->placed->case_id);
    logged_json(a->desk, store, a->placed->complaint_id, event);
    json_object_set_new(event, "made", told_lot(store, a->desk->tz, a->placed->lot_id));
    json_object_set_new(event, "said", told_complaint(a->body, a->contact));
    bool gathered;
    return queue(store, "emptied", a, event, &gathered, err);
}
