#include "desk/rematch.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/apart_past.h"
#include "desk/doubts.h"
#include "desk/event.h"
#include "desk/outgoing.h"
#include "desk/told.h"
#include "intake/harm.h"
#include "store/complaint_place.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SLICE = 64 };
static const double SAME_WEIGHT = 0.01; /* a smaller change moves nothing that is shown */

struct found {
    int64_t complaint_id, case_id, lot_id;
    char *body;
    struct complaint_form *form;
    struct placing placing;
};

struct slice {
    struct rematch *rematch;
    struct store *store;
    int64_t now_ms;
    struct found found[SLICE]; /* those that get another place */
    size_t count;
    int rows, placed;
};

static bool same_place(const struct complaint_lots *a, const struct complaint_lots *b)
{
    if (a->state != b->state || a->count != b->count)
        return false;
    for (int i = 0; i < a->count; i++)
        if (a->lot[i].lot_id != b->lot[i].lot_id ||
            fabs(a->lot[i].weight - b->lot[i].weight) > SAME_WEIGHT)
            return false;
    return true;
}

static int read_form(const struct desk *desk, const struct complaint_row *row,
                     struct complaint_form **ret)
{
    json_t *body = NULL;
    int rc = jsonx_parse(row->body, strlen(row->body), &body, NULL);
    struct form_options options = placing_options(desk, body, NULL);
    options.now_ms = row->received_ms;
    if (!rc)
        rc = complaint_form_read(body, &options, ret, NULL);
    json_decref(body);
    return rc;
}

/* One that cannot be read again stays as it is. */
static int look_at(void *arg, const struct complaint_row *row)
{
    struct slice *s = arg;
    struct found found = {.complaint_id = row->id, .case_id = row->case_id, .lot_id = row->lot_id};
    struct complaint_lots was;
    s->rows++;
    s->rematch->after_id = row->id;
    if (read_form(s->rematch->desk, row, &found.form))
        return 0;
    if (placing_find(s->rematch->desk, s->store, found.form, &found.placing, NULL) ||
        complaint_lots_of(s->store, row->id, &was, NULL) || same_place(&was, &found.placing.lots)) {
        complaint_form_free(found.form);
        return 0;
    }
    doubts_add(s->rematch->desk, s->store, found.form, &found.placing);
    found.body = xstrdup(row->body);
    assert(s->count < SLICE); /* the look-up's limit */
    s->found[s->count++] = found;
    return 0;
}

/* Has it been corrected or joined since it was looked at? Then whoever did so has placed it. */
static int is_as_it_was(void *arg, const struct complaint_row *row)
{
    const struct found *found = arg;
    return strcmp(found->body, row->body) == 0 && found->case_id == row->case_id &&
                   found->lot_id == row->lot_id
               ? 1
               : 0;
}

static json_t *urgent_of(const struct desk *desk, struct store *store, const struct found *found,
                         const struct complaint_placed *placed)
{
    json_t *said = told_logged(found->body);
    json_t *lot = json_pack("{s:s}", "why", "its lot was looked for again in the records");
    placing_json(desk, store, found->form, &found->placing.lots, lot);
    json_object_set(lot, "doubts", found->form->doubts);
    bool possible = found->form->harm_possible;
    json_t *event = event_urgent(desk->plant, harm_needs_of(desk->harm, possible), said, lot);
    if (possible)
        event_urgent_possible(event);
    json_object_set_new(event, "case", CASE_ID_JSON(placed->case_id));
    if (placed->case_id != found->case_id)
        json_object_set_new(event, "case_was", CASE_ID_JSON(found->case_id));
    json_object_set_new(event, "said", said);
    json_object_set_new(event, "made", told_lot(store, desk->tz, placed->lot_id));
    json_decref(lot);
    return event;
}

static int tell(const struct slice *s, struct store *store, const struct found *found,
                const struct complaint_placed *placed, struct error *err)
{
    const struct desk *desk = s->rematch->desk;
    bool moved = placed->lot_id != found->lot_id || placed->case_id != found->case_id;
    char message_id[128];
    if (!moved || !(found->form->harm || found->form->harm_possible))
        return 0;
    json_t *event = urgent_of(desk, store, found, placed);
    event_message_id(desk->mail_domain, s->now_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                    .case_id = placed->case_id,
                                    .message_id = message_id,
                                    .created_ms = s->now_ms};
    bool gathered;
    return outgoing_add_urgent(store, &mail, harm_gather_ms(desk->harm), event, &gathered, err);
}

static int place(struct slice *s, struct store *store, const struct found *found, struct error *err)
{
    static const char REASON[] = "matched again with the lots on record";
    const struct complaint_why why = {"oddloaf", REASON, s->now_ms};
    struct complaint_placed placed;
    int rc = complaint_by_id(store, found->complaint_id, is_as_it_was, (void *)found, err);
    if (rc != 1)
        return rc == ERROR_NOT_FOUND ? 0 : rc;
    rc = complaint_place(store, found->complaint_id, &found->placing.lots, &why, &placed, err);
    if (!rc)
        rc = apart_past_written(s->rematch->desk, store, &placed, err);
    if (!rc)
        rc = tell(s, store, found, &placed, err);
    if (!rc)
        s->placed++;
    return rc;
}

static int place_all(struct store *store, void *arg, struct error *err)
{
    assert(store_writing(store));
    struct slice *s = arg;
    int rc = 0;
    s->placed = 0; /* the writer may run it again */
    for (size_t i = 0; i < s->count && !rc; i++)
        rc = place(s, store, &s->found[i], err);
    return rc;
}

int rematch_slice(struct rematch *rematch, struct store *store, int64_t now_ms, struct error *err)
{
    assert(!store_writing(store)); /* it waits for the writer */
    struct slice *s = xcalloc(1, sizeof *s);
    s->rematch = rematch;
    s->store = store;
    s->now_ms = now_ms;
    int64_t from_id = rematch->after_id;
    const struct complaint_slice slice = {rematch->since_ms, from_id, SLICE};
    int rc = complaint_not_exact(store, &slice, look_at, s, err);
    if (!rc && s->count)
        rc = writer_run(rematch->writer, place_all, s, err);
    rematch->seen += s->rows;
    rematch->placed += rc ? 0 : s->placed;
    rematch->through = !rc && s->rows < SLICE;
    if (rc)
        rematch->after_id = from_id;
    for (size_t i = 0; i < s->count; i++) {
        complaint_form_free(s->found[i].form);
        free(s->found[i].body);
    }
    free(s);
    return rc;
}
