#include "desk/call_backs.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/apart.h"
#include "desk/named.h"
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
    json_object_set(item, "harm", json_object_get(said, "harm"));
    json_decref(said);
}

/* What whoever calls must know first, of one that nobody gave a reason for. */
static void set_why(json_t *item, const struct case_row *of)
{
    struct text_buffer why = {0};
    size_t i;
    const json_t *harm;
    json_array_foreach(json_object_get(item, "harm"), i, harm)
    {
        text_appendf(&why, "%s%s", i ? ", " : "", json_string_value(harm));
    }
    if (why.length)
        text_append(&why, " reported");
    else
        text_append(&why, of->harm ? "harm reported by another caller" : "a severe case");
    json_object_set_new(item, "why", json_string(why.data));
    text_buffer_free(&why);
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
    named_short_json(l->store, row->report, item);
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
    if (!*row->by_name)
        set_why(item, &of);
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
    add_reference(l, row, joined, item);
    add_case(l, row, item);
    json_object_del(item, "harm");
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

static int add_lost(void *arg, const char *complaint, int64_t complaint_id, int64_t case_id)
{
    const struct listing *l = arg;
    const struct call_back_row row = {
        .report = complaint, .complaint_id = complaint_id, .case_id = case_id, .by_name = ""};
    json_t *item = json_pack("{s:s, s:o}", "complaint", complaint, "case", CASE_ID_JSON(case_id));
    add_reference(l, &row, false, item);
    add_case(l, &row, item);
    json_object_del(item, "harm");
    return json_array_append_new(l->list, item);
}

int call_backs_lost_json(struct store *store, int limit, json_t **ret, struct error *err)
{
    struct listing l = {.store = store, .list = json_array()};
    int rc = call_back_unreachable(store, limit, add_lost, &l, err);
    if (rc)
        json_decref(l.list);
    else
        *ret = l.list;
    return rc;
}
