#include "desk/story.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/apart_row.h"
#include "desk/named.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/history.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

struct telling {
    const struct desk *desk;
    struct store *store;
    bool shown; /* contact data, in the words of what was changed */
    json_t *events;
};

/* ---- events ---- */

static json_t *told(const char *text)
{
    return *text ? json_string(text) : json_null();
}

static void set_said(json_t *event, const char *name, const char *text)
{
    if (*text)
        json_object_set_new(event, name, json_string(text));
}

/* The words as they were said, if they were not told so. */
static void show_said(const struct telling *t, const struct history_row *row, json_t *event)
{
    static const struct {
        const char *member, *name;
    } TEXTS[] = {{"was", "was"}, {"is", "now"}};
    struct apart_row kept;
    char *body = NULL;
    contact_of_report(t->store, row->about, &body, NULL);
    apart_row_parse(body, &kept);
    const json_t *said = apart_row_change(&kept, row->change_id);
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++)
        if (json_object_get(said, TEXTS[i].name))
            json_object_set(event, TEXTS[i].member, json_object_get(said, TEXTS[i].name));
    apart_row_clear(&kept);
    free(body);
}

static int tell_event(void *arg, const struct history_row *row)
{
    const struct telling *t = arg;
    char when[40], uuid[UUID_TEXT];
    json_t *event = json_pack("{s:s, s:s, s:s}", "at", when_format(t->desk->tz, row->at_ms, when),
                              "by", *row->by ? row->by : "oddloaf", "what", row->what);
    set_said(event, uuid_normalize(row->about, uuid) ? "complaint" : "lot", row->about);
    set_said(event, "field", row->field);
    json_object_set_new(event, "was", told(row->was));
    json_object_set_new(event, "is", told(row->is));
    set_said(event, "why", row->why);
    if (t->shown && row->change_id)
        show_said(t, row, event);
    json_array_append_new(t->events, event);
    return 0;
}

/* ---- whose ---- */

static int take_id(void *arg, const struct complaint_row *row)
{
    *(int64_t *)arg = row->id;
    return 0;
}

static int take_joined(void *arg, const struct joined_row *row)
{
    *(int64_t *)arg = row->complaint_id;
    return 0;
}

static int complaint_id(struct store *store, const char *word, char uuid[static UUID_TEXT],
                        int64_t *ret, struct error *err)
{
    int rc = named_complaint(store, word, uuid, err);
    if (rc || joined_by_uuid(store, uuid, take_joined, ret, NULL) == 0)
        return rc;
    return complaint_by_uuid(store, uuid, take_id, ret, err);
}

struct subject {
    enum history_of of;
    int64_t id;
    json_t *named; /* {"case": "C12"} */
};

/* The code of a lot that is on record comes before a ticket that reads the same. */
static int find_subject(struct store *store, const char *word, struct subject *ret,
                        struct error *err)
{
    struct case_row row;
    struct lot_find_row lot;
    char uuid[UUID_TEXT];
    *ret = (struct subject){.of = HISTORY_CASE};
    if (short_id_parse(SHORT_ID_CASE, word, &ret->id)) {
        int rc = case_get(store, ret->id, &row, err);
        ret->named = json_pack("{s:o}", "case", CASE_ID_JSON(ret->id));
        return rc;
    }
    if (lot_find_by_code(store, word, &lot, NULL) == 0) {
        ret->of = HISTORY_LOT;
        ret->id = lot.lot_id;
        ret->named = json_pack("{s:s}", "lot", lot.code);
        return 0;
    }
    ret->of = HISTORY_COMPLAINT;
    int rc = complaint_id(store, word, uuid, &ret->id, err);
    if (rc == ERROR_NOT_FOUND) {
        error_clear(err);
        error_set(err, rc, "%.60s is no case (C12), no complaint and no lot", word);
    }
    if (!rc)
        ret->named = json_pack("{s:s}", "complaint", uuid);
    return rc;
}

int story_json(const struct desk *desk, struct store *store, const char *word, bool with_contact,
               json_t **ret, struct error *err)
{
    assert(word && ret);
    struct subject subject;
    struct telling t = {desk, store, with_contact, json_array()};
    int rc = find_subject(store, word, &subject, err);
    if (!rc)
        rc = history_read(store, subject.of, subject.id, tell_event, &t, err);
    if (!rc)
        rc = store_failed(store, err);
    if (rc) {
        json_decref(t.events);
        json_decref(subject.named);
        return rc;
    }
    json_object_set_new(subject.named, "events", t.events);
    *ret = subject.named;
    return 0;
}
