#include "desk/alarm.h"
#include "desk/correcting_inside.h"
#include "store/change.h"
#include <assert.h>

static int record_withdrawn(struct correcting_work *w, bool undo, struct error *err)
{
    static const char WITHDRAWN[] = "withdrawn";
    const struct complaint_why *why = &w->why;
    const struct change_row change = {
        .complaint = w->c->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    json_array_append_new(
        w->c->changed, json_pack("{s:s, s:b, s:b}", "field", WITHDRAWN, "was", undo, "is", !undo));
    return change_add(w->store, &change, WITHDRAWN, undo ? WITHDRAWN : "", undo ? "" : WITHDRAWN,
                      err);
}

static int tell_withdrawn(struct correcting_work *w, bool undo, struct error *err)
{
    const json_t *harm = json_object_get(w->found.body, "harm");
    bool possible = json_is_true(json_object_get(w->found.body, "harm_possible"));
    w->c->harm_came = undo && (json_array_size(harm) || possible);
    const struct alarm alarm = {.desk = w->desk,
                                .placed = &w->c->placed,
                                .case_was = w->found.case_id,
                                .why = &w->why,
                                .what = undo ? "the withdrawn complaint was brought back"
                                             : "the complaint was withdrawn",
                                .body = w->found.body,
                                .contact = w->contact,
                                .gathered = &w->c->mail_gathered,
                                .taken_back = undo ? NULL : harm,
                                .at_once = undo};
    if (undo ? json_array_size(harm) || possible : json_array_size(harm) > 0)
        return alarm_queue(w->store, &alarm, err);
    int rc = alarm_case_emptied(w->store, &alarm, undo, err);
    return rc || undo || !possible ? rc
                                   : correcting_tell_spoken(w, "the complaint was withdrawn", err);
}

static int change_standing(struct correcting_work *w, bool undo, struct error *err)
{
    int64_t at_ms = w->why.at_ms;
    int rc = complaint_withdraw(w->store, w->found.id, undo ? WHEN_UNKNOWN_MS : at_ms, at_ms, err);
    if (!rc && undo)
        rc = anew_place(w->store, &w->found, &w->why, &w->c->placed, err);
    if (!rc && !undo)
        rc = correcting_check_left(w->store, w->found.case_id, err);
    if (!rc)
        rc = record_withdrawn(w, undo, err);
    return rc ? rc : tell_withdrawn(w, undo, err);
}

int correcting_withdraw(const struct desk *desk, struct store *store, struct correcting *c,
                        bool undo, struct error *err)
{
    assert(store_writing(store));
    assert(c->uuid && c->why.by);
    struct correcting_work w = {.desk = desk, .store = store, .c = c, .why = c->why};
    int rc = correcting_find(&w, err);
    c->changed = json_array();
    c->placed = (struct complaint_placed){
        .complaint_id = w.found.id, .case_id = w.found.case_id, .lot_id = w.found.lot_id};
    if (!rc && w.found.joined) {
        rc = error_set(err, ERROR_CONFLICT, "is joined to %s", w.found.uuid);
        error_hint(err, "`oddloaf join --undo %s` first", c->uuid);
    }
    if (!rc && undo)
        correcting_say_harm(c, w.found.body);
    if (!rc && w.found.withdrawn != undo)
        c->placed.again = true;
    else if (!rc)
        rc = change_standing(&w, undo, err);
    if (!rc && !c->placed.again && !c->harm_came)
        rc = correcting_hear(&w, undo ? "it was brought back" : "it was withdrawn", err);
    correcting_clear(&w);
    return rc;
}
