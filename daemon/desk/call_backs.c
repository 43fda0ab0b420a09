#include "desk/call_backs.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "desk/apart.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/joined.h"
#include <string.h>

struct listing {
    const struct desk *desk;
    struct store *store;
    const struct call_backs_view *view;
    json_t *list;
};

static void take_reference(const char *body, json_t *item)
{
    json_t *said = NULL;
    if (jsonx_parse(body, strlen(body), &said, NULL))
        return;
    json_object_set(item, "reference", json_object_get(said, "reference"));
    json_decref(said);
}

static int take_own(void *arg, const struct complaint_row *row)
{
    take_reference(row->body, arg);
    return 0;
}

static int take_joined(void *arg, const struct joined_row *row)
{
    take_reference(row->body, arg);
    return 0;
}

/* The number that the caller knows it by. */
static void add_reference(const struct listing *l, const struct call_back_row *row, bool joined,
                          json_t *item)
{
    json_object_set_new(item, "reference", json_null());
    if (joined)
        joined_by_uuid(l->store, row->report, take_joined, item, NULL);
    else
        complaint_by_id(l->store, row->complaint_id, take_own, item, NULL);
}

static void add_case(const struct listing *l, const struct call_back_row *row, json_t *item)
{
    struct case_row of;
    if (case_get(l->store, row->case_id, &of, NULL))
        return;
    json_object_set_new(item, "symptom", json_string(of.symptom));
    json_object_set_new(item, "state", json_string(of.settled ? "settled" : "open"));
}

static int add_row(void *arg, const struct call_back_row *row)
{
    const struct listing *l = arg;
    char due[16], asked[40];
    bool joined = strcmp(row->report, row->complaint) != 0;
    json_t *item =
        json_pack("{s:s, s:o, s:s, s:b, s:s, s:s, s:s, s:s}", "complaint", row->report, "case",
                  CASE_ID_JSON(row->case_id), "due", day_format(row->due_day, due), "overdue",
                  row->due_day < l->view->today, "why", row->why, "by",
                  *row->by_name ? row->by_name : "oddloaf", "user", row->user, "asked_at",
                  when_format(l->desk->tz, row->asked_ms, asked));
    add_case(l, row, item);
    add_reference(l, row, joined, item);
    json_t *contact = l->view->shown ? apart_show(l->store, row->complaint_id,
                                                  joined ? row->report : "", NULL, NULL)
                                     : NULL;
    if (contact)
        json_object_set_new(item, "contact", contact);
    return json_array_append_new(l->list, item);
}

int call_backs_json(const struct desk *desk, struct store *store,
                    const struct call_back_query *query, const struct call_backs_view *view,
                    json_t **ret, struct error *err)
{
    struct listing l = {desk, store, view, json_array()};
    int rc = call_back_waiting(store, query, add_row, &l, err);
    if (rc)
        json_decref(l.list);
    else
        *ret = l.list;
    return rc;
}
