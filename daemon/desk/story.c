#include "desk/story.h"
#include "base/jsonx.h"
#include "base/record_kind.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/apart_row.h"
#include "desk/named.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/history.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

struct telling {
    const struct tz *tz; /* of whose plant it is */
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

/* ---- changed records ---- */

/* A value as people read it; times by the plant's clock. NULL: nothing. */
static char *value_text(const struct tz *tz, enum record_type type, const json_t *value)
{
    char when[40];
    int64_t ms;
    const char *text = json_string_value(value);
    if (text && type == RECORD_WHEN && when_parse(text, &ms, NULL) == 0)
        return xstrdup(when_format(tz, ms, when));
    if (text)
        return *text ? xstrdup(text) : NULL;
    return value && !json_is_null(value)
               ? json_dumps(value, JSON_ENCODE_ANY | JSON_REAL_PRECISION(12))
               : NULL;
}

static json_t *value_json(const struct tz *tz, enum record_type type, const json_t *value)
{
    char *text = value_text(tz, type, value);
    json_t *json = text ? json_string(text) : json_null();
    free(text);
    return json;
}

/* Which row of its lot it is: "core_at_pack_c, 2026-11-14T09:40:00-05:00"; NULL of the lot's own.
 */
static char *row_text(const struct tz *tz, const struct record_table *table, const json_t *was)
{
    struct text_buffer out = {0};
    for (int i = 1; i < table->keys; i++) {
        const struct record_column *column = &table->columns[i];
        char *text = value_text(tz, column->type, json_object_get(was, column->name));
        if (text)
            text_appendf(&out, "%s%s", out.length ? ", " : "", text);
        free(text);
    }
    return out.length ? text_take(&out) : NULL;
}

/* One event a column that changed. */
static void tell_columns(const struct telling *t, const struct record_table *table,
                         const json_t *event, const json_t *was, const json_t *is)
{
    for (int i = table->keys; i < table->count; i++) {
        const struct record_column *column = &table->columns[i];
        const json_t *value = json_object_get(is, column->name);
        const json_t *before = json_object_get(was, column->name);
        if (is ? !value : !before || json_is_null(before))
            continue;
        json_t *one = json_deep_copy(event);
        json_object_set_new(one, "field", json_string(column->name));
        json_object_set_new(one, "was", value_json(t->tz, column->type, before));
        json_object_set_new(one, "is", value_json(t->tz, column->type, value));
        json_array_append_new(t->events, one);
    }
}

/* `event` has what is common to all its columns. */
static void tell_record(const struct telling *t, const struct history_row *row, json_t *event)
{
    enum record_kind kind;
    json_t *was = NULL, *is = NULL;
    if (!record_kind_parse(row->field, &kind) ||
        jsonx_parse(row->was, strlen(row->was), &was, NULL))
        return;
    if (*row->is)
        jsonx_parse(row->is, strlen(row->is), &is, NULL);
    const struct record_table *table = record_kind_table(kind);
    char *of = row_text(t->tz, table, was);
    json_object_set_new(event, "kind", json_string(table->kind));
    if (of)
        json_object_set_new(event, "row", json_string(of));
    tell_columns(t, table, event, was, is);
    free(of);
    json_decref(was);
    json_decref(is);
}

/* Where it was moved from or to, unless that is another plant's. */
static json_t *told_moved(const struct telling *t, const struct history_row *row, const char *text)
{
    int64_t id;
    bool other_case = strcmp(row->field, "case") == 0 && short_id_parse(SHORT_ID_CASE, text, &id) &&
                      !seen_case(t->store, id);
    return other_case || !seen_code(t->store, text) ? json_null() : told(text);
}

static int tell_event(void *arg, const struct history_row *row)
{
    const struct telling *t = arg;
    char when[40], uuid[UUID_TEXT];
    bool complaint = uuid_normalize(row->about, uuid);
    if (complaint && !seen_report(t->store, row->about)) /* it went to another plant */
        return 0;
    json_t *event = json_pack("{s:s, s:s, s:s}", "at", when_format(t->tz, row->at_ms, when), "by",
                              *row->by ? row->by : "oddloaf", "what", row->what);
    if (complaint || seen_code(t->store, row->about))
        set_said(event, complaint ? "complaint" : "lot", row->about);
    if (complaint)
        named_short_json(t->store, row->about, event);
    set_said(event, "why", row->why);
    if (strcmp(row->what, "record changed") == 0) {
        tell_record(t, row, event);
        json_decref(event);
        return 0;
    }
    set_said(event, "field", row->field);
    json_object_set_new(event, "was", told_moved(t, row, row->was));
    json_object_set_new(event, "is", told_moved(t, row, row->is));
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
    char plant[sizeof((struct case_row *)0)->plant]; /* of a case or lot; "" the company's */
    json_t *named;                                   /* {"case": "C12"} */
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
        if (!rc)
            text_clip(row.plant, ret->plant, sizeof ret->plant);
        ret->named = json_pack("{s:o}", "case", CASE_ID_JSON(ret->id));
        return rc;
    }
    if (lot_find_by_code(store, word, &lot, NULL) == 0) {
        ret->of = HISTORY_LOT;
        ret->id = lot.lot_id;
        text_clip(lot.plant, ret->plant, sizeof ret->plant);
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
    struct telling t = {desk->tz, store, with_contact, json_array()};
    int rc = find_subject(store, word, &subject, err);
    if (!rc)
        t.tz = tz_of(desk->tz, subject.plant);
    if (!rc)
        rc = history_read(store, subject.of, subject.id, tell_event, &t, err);
    if (!rc)
        rc = store_failed(store, err);
    if (rc) {
        json_decref(t.events);
        json_decref(subject.named);
        return rc;
    }
    if (tz_of_apart(desk->tz, subject.plant))
        json_object_set_new(subject.named, "zone",
                            json_string(tz_of_apart(desk->tz, subject.plant)));
    json_object_set_new(subject.named, "events", t.events);
    *ret = subject.named;
    return 0;
}
