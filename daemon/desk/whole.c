#include "desk/whole.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "desk/apart.h"
#include "desk/apart_row.h"
#include "desk/attached_json.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "desk/sent.h"
#include "store/change.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/entry.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <stdlib.h>
#include <string.h>

struct shown {
    json_t *body;
    int64_t id, case_id, logged_ms;
    bool withdrawn;
    bool first_only; /* the body is that of a report, this is the complaint it is joined to */
};

static int show_row(void *arg, const struct complaint_row *row)
{
    struct shown *shown = arg;
    shown->id = row->id;
    shown->case_id = row->case_id;
    shown->withdrawn = row->withdrawn;
    shown->logged_ms = shown->first_only ? shown->logged_ms : row->logged_ms;
    return shown->first_only ? 0 : jsonx_parse(row->body, strlen(row->body), &shown->body, NULL);
}

static int show_joined(void *arg, const struct joined_row *row)
{
    struct shown *shown = arg;
    int rc = jsonx_parse(row->body, strlen(row->body), &shown->body, NULL);
    shown->logged_ms = row->logged_ms;
    if (!rc)
        json_object_set_new(shown->body, "same_as", json_string(row->complaint));
    return rc;
}

static int find(struct store *store, const char *uuid, struct shown *ret, struct error *err)
{
    int rc = complaint_by_uuid(store, uuid, show_row, ret, err);
    if (rc != ERROR_NOT_FOUND || joined_by_uuid(store, uuid, show_joined, ret, NULL) != 0)
        return rc;
    error_clear(err);
    ret->first_only = true;
    return complaint_by_uuid(store, json_string_value(json_object_get(ret->body, "same_as")),
                             show_row, ret, err);
}

static void add_contact(struct store *store, const struct shown *shown, const char *report)
{
    json_t *sent = json_object_get(shown->body, "sent");
    json_t *contact = apart_show(store, shown->id, report, shown->body, sent);
    if (contact)
        json_object_set_new(shown->body, "contact", contact);
}

static void add_reports(struct store *store, const struct tz *tz, const struct shown *shown,
                        bool desk)
{
    json_t *first = NULL;
    json_t *reports = joining_reports_json(store, tz, shown->id, desk, &first);
    if (desk)
        json_decref(apart_show(store, shown->id, "", first, NULL));
    if (json_array_size(reports) > 0) {
        json_object_set(shown->body, "first_said", first);
        json_object_set(shown->body, "joined", reports);
    }
    json_decref(first);
    json_decref(reports);
}

struct changes {
    const struct tz *tz;
    struct store *store;
    struct apart_row kept; /* nothing: contact data are not shown */
    json_t *list;
};

/* As it was said where that is kept, else as it is told to all. */
static json_t *words(const json_t *said, const char *name, const char *told)
{
    json_t *text = json_object_get(said, name);
    return text ? json_incref(text) : *told ? json_string(told) : json_null();
}

/* Of who sees one plant: what a complaint was moved from may be another's. */
static bool is_others(const struct changes *c, const struct change_row *row)
{
    int64_t was, is;
    bool cases = strcmp(row->field, "case") == 0;
    return !seen_code(c->store, row->was) || !seen_code(c->store, row->now) ||
           (cases && short_id_parse(SHORT_ID_CASE, row->was, &was) && !seen_case(c->store, was)) ||
           (cases && short_id_parse(SHORT_ID_CASE, row->now, &is) && !seen_case(c->store, is));
}

static int add_change(void *arg, const struct change_row *row)
{
    const struct changes *c = arg;
    char when[40];
    if (is_others(c, row))
        return 0;
    json_t *change = json_pack("{s:s, s:s, s:s}", "at", when_format(c->tz, row->at_ms, when), "by",
                               row->by, "field", row->field);
    const json_t *said = apart_row_change(&c->kept, row->id);
    json_object_set_new(change, "was", words(said, "was", row->was));
    json_object_set_new(change, "is", words(said, "now", row->now));
    json_object_set_new(change, "reason", json_string(row->reason));
    json_array_append_new(c->list, change);
    return 0;
}

static json_t *changes_json(const struct tz *tz, struct store *store, const char *uuid, bool desk)
{
    struct changes changes = {.tz = tz, .store = store, .list = json_array()};
    char *body = NULL;
    if (desk)
        contact_of_report(store, uuid, &body, NULL);
    apart_row_parse(body, &changes.kept);
    change_of(store, uuid, add_change, &changes, NULL);
    apart_row_clear(&changes.kept);
    free(body);
    return changes.list;
}

static int take_entry(void *arg, const struct entry_row *row)
{
    json_t *into = arg, *sent = NULL, *taken = NULL;
    json_object_set_new(into, "logged_by",
                        *row->logged_by ? json_string(row->logged_by) : json_null());
    if (sent_read(&sent, row) == 0)
        json_object_set_new(into, "sent", sent);
    if (jsonx_parse(row->taken, strlen(row->taken), &taken, NULL) == 0)
        json_object_set_new(into, "taken", taken);
    return 0;
}

/* A code that was read before it was this plant's: it is another's. */
static bool names_other(struct store *store, const char *text)
{
    struct lot_find_row row;
    struct lot_find_rows rows = {.row = &row, .capacity = 1};
    char fold[LOT_FIND_CODE];
    bool some = seen_whole(store);
    lot_find_fold(text ? text : "", fold, sizeof fold);
    int rc = some && *fold ? lot_find_by_fold(store, fold, 1, &rows, NULL) : 0;
    seen_again(store, some);
    return !rc && rows.count && !seen_plant(store, row.plant);
}

/* How and by whom it came. */
static void add_entry(const struct desk *desk, struct store *store, const char *uuid,
                      const struct shown *shown)
{
    char when[40];
    entry_get(store, uuid, take_entry, shown->body, NULL);
    json_t *sent = json_object_get(shown->body, "sent");
    if (names_other(store, json_string_value(json_object_get(sent, "lot_text"))))
        json_object_del(sent, "lot_text");
    json_object_set_new(shown->body, "complaint", json_string(uuid));
    json_object_set_new(shown->body, "logged_at",
                        json_string(when_format(desk->tz, shown->logged_ms, when)));
    if (!json_object_get(shown->body, "reference"))
        json_object_set_new(shown->body, "reference", json_null());
}

int whole_complaint(const struct desk *desk, struct store *store, const char *id, bool with_contact,
                    json_t **ret, struct error *err)
{
    struct shown shown = {0};
    char uuid[UUID_TEXT];
    int rc = named_complaint(store, id, uuid, err);
    if (!rc)
        rc = find(store, uuid, &shown, err);
    if (rc) {
        json_decref(shown.body);
        return rc;
    }
    json_object_set_new(shown.body, "case", CASE_ID_JSON(shown.case_id));
    add_entry(desk, store, uuid, &shown);
    json_t *read = json_incref(json_object_get(shown.body, "lot_text"));
    logged_json(desk, store, shown.id, shown.body);
    if (shown.first_only) /* counted with the first one's lot; what was read is its own */
        json_object_set_new(shown.body, "lot_text", read ? json_incref(read) : json_null());
    json_decref(read);
    logged_doubts(desk, store, shown.id, shown.body);
    json_object_set_new(shown.body, "withdrawn", json_boolean(shown.withdrawn));
    json_object_set_new(shown.body, "changes", changes_json(desk->tz, store, uuid, with_contact));
    attached_json_add(store, desk->tz, 0, shown.id, shown.body, NULL);
    if (with_contact)
        add_contact(store, &shown, shown.first_only ? uuid : "");
    if (!shown.first_only)
        add_reports(store, desk->tz, &shown, with_contact);
    rc = store_failed(store, err);
    if (rc)
        json_decref(shown.body);
    else
        *ret = shown.body;
    return rc;
}
