/* Finding complaints again. Who called is looked for by the desk alone. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "desk/apart.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "serve/app.h"
#include "serve/asked_product.h"
#include "serve/route.h"
#include "store/entry_find.h"
#include <stdlib.h>
#include <string.h>

enum { LIMIT_USUAL = 50, LIMIT_MOST = 500, CASE_SIZE = 24 };

struct finding {
    const struct setup *setup;
    struct store *store;
    bool desk;
    json_t *found;
    int limit;
    bool more; /* than that */
    int64_t last;
};

/* What tells one complaint from another in a list. */
static void add_said(const json_t *body, json_t *item)
{
    static const char *const NAMES[] = {"channel", "symptom",   "product",
                                        "store",   "reference", "note"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        json_object_set(item, NAMES[i], json_object_get(body, NAMES[i]));
}

static int add_found(void *arg, const struct entry_found *row)
{
    struct finding *f = arg;
    char when[40];
    f->more = json_array_size(f->found) == (size_t)f->limit;
    if (f->more)
        return 0;
    json_t *body = NULL;
    bool joined = strcmp(row->report, row->complaint) != 0;
    if (jsonx_parse(row->body, strlen(row->body), &body, NULL))
        body = json_object();
    json_t *contact =
        f->desk ? apart_show(f->store, row->complaint_id, joined ? row->report : "", body, NULL)
                : NULL;
    json_t *item =
        json_pack("{s:s, s:o, s:s}", "complaint", row->report, "case", CASE_ID_JSON(row->case_id),
                  "received_at", when_format(f->setup->tz, row->received_ms, when));
    named_short_json(f->store, row->report, item);
    add_said(body, item);
    logged_json(&f->setup->desk, f->store, row->complaint_id, item);
    json_object_set_new(item, "withdrawn", json_boolean(row->withdrawn));
    if (joined)
        json_object_set_new(item, "same_as", json_string(row->complaint));
    if (contact)
        json_object_set_new(item, "contact", contact);
    json_array_append_new(f->found, item);
    json_decref(body);
    f->last = row->entry;
    return 0;
}

static int refuse_caller(const struct request *rq, struct error *err)
{
    const char *field = request_query(rq, "phone") ? "phone" : "name";
    error_field(err, field, "(not shown)");
    error_hint(err, "ask the desk; or look by ticket, store, lot or words of the note");
    return error_set(err, ERROR_DENIED, "who called is looked for by the role desk alone");
}

static int read_phone(const struct request *rq, char *out, size_t size, struct error *err)
{
    const char *phone = request_query(rq, "phone");
    out[0] = '\0';
    if (!phone)
        return 0;
    complaint_form_contact_key(phone, out, size);
    if (out[0] == '#')
        return 0;
    error_field(err, "phone", "(not shown)");
    return error_set(err, ERROR_INVALID, "must be a phone number, five digits of it or more");
}

static int read_day(const struct request *rq, const struct tz *tz, const char *name, int64_t *ret,
                    struct error *err)
{
    int32_t day;
    const char *text = request_query(rq, name);
    *ret = WHEN_UNKNOWN_MS;
    if (!text)
        return 0;
    if (day_parse(text, &day, NULL)) {
        error_field(err, name, text);
        return error_set(err, ERROR_INVALID, "must be a date, YYYY-MM-DD");
    }
    *ret = tz_day_start_ms(tz, day);
    return 0;
}

static int read_filter(const struct request *rq, const struct setup *setup, char *phone,
                       size_t phone_size, struct entry_filter *filter, struct error *err)
{
    int64_t limit = LIMIT_USUAL, after = 0, since_ms = WHEN_UNKNOWN_MS;
    int rc = request_query_within(rq, "limit", 1, LIMIT_MOST, &limit, err);
    if (!rc)
        rc = request_query_int(rq, "after", 0, &after, err);
    if (!rc)
        rc = read_day(rq, setup->tz, "since", &since_ms, err);
    if (!rc)
        rc = read_phone(rq, phone, phone_size, err);
    *filter = (struct entry_filter){
        .words = request_query(rq, "word"),
        .held = (rq->roles & ROLE_DESK) != 0,
        .store = request_query(rq, "store"),
        .lot = request_query(rq, "lot"),
        .ticket = request_query(rq, "ticket"),
        .phone = phone[0] ? phone : NULL,
        .name = request_query(rq, "name"),
        .since_ms = since_ms,
        .after = after,
        .limit = (int)limit,
    };
    return rc;
}

static json_t *page_of(const struct finding *f)
{
    return json_pack("{s:o, s:o}", "complaints", f->found, "next",
                     f->more ? json_sprintf("%lld", (long long)f->last) : json_null());
}

void find_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    char phone[32] = "";
    struct entry_filter filter = {0};
    struct setup *setup = app_setup(rq->app);
    struct finding f = {setup, store, (rq->roles & ROLE_DESK) != 0, json_array(), 0, false, 0};
    bool caller = request_query(rq, "phone") || request_query(rq, "name");
    struct product_named named = {0};
    int rc = caller && !f.desk ? refuse_caller(rq, &err)
                               : read_filter(rq, setup, phone, sizeof phone, &filter, &err);
    if (!rc)
        rc = asked_product(rq, store, &named, &err);
    char *ids = rc ? NULL : asked_product_ids(&named);
    filter.products = ids;
    filter.family = named.family[0] ? named.family : NULL;
    if (!rc) {
        f.limit = filter.limit++; /* one is read more than is told: is there any? */
        rc = entry_find(store, &filter, add_found, &f, &err);
    }
    free(ids);
    if (rc) {
        json_decref(f.found);
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200, page_of(&f));
    }
    setup_unref(setup);
}
