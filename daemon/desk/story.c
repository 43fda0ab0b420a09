#include "desk/story.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/named.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/history.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include <ctype.h>
#include <string.h>

struct telling {
    const struct desk *desk;
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

int story_json(const struct desk *desk, struct store *store, const char *word, json_t **ret,
               struct error *err)
{
    struct subject subject;
    struct telling t = {desk, json_array()};
    int rc = find_subject(store, word, &subject, err);
    if (!rc)
        rc = history_read(store, subject.of, subject.id, tell_event, &t, err);
    if (rc) {
        json_decref(t.events);
        json_decref(subject.named);
        return rc;
    }
    json_object_set_new(subject.named, "events", t.events);
    *ret = subject.named;
    return 0;
}
