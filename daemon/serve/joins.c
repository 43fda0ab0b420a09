/* One complaint as it stands, with the reports that were joined to it; joining and separating. */
#include "base/jsonx.h"
#include "desk/joining.h"
#include "desk/understood.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/contact.h"
#include "store/joined.h"
#include <stdlib.h>
#include <string.h>

/* ---- showing ---- */

struct shown {
    json_t *body;
    int64_t id, case_id, lot_id;
    bool first_only; /* the body is that of a report, this is the complaint it is joined to */
};

static int show_row(void *arg, const struct complaint_row *row)
{
    struct shown *shown = arg;
    shown->id = row->id;
    shown->case_id = row->case_id;
    shown->lot_id = row->lot_id;
    return shown->first_only ? 0 : jsonx_parse(row->body, strlen(row->body), &shown->body, NULL);
}

static int show_joined(void *arg, const struct joined_row *row)
{
    struct shown *shown = arg;
    int rc = jsonx_parse(row->body, strlen(row->body), &shown->body, NULL);
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
    char *contact = NULL;
    json_t *parsed = NULL;
    if (contact_get(store, shown->id, report, &contact, NULL) == 0 && contact &&
        jsonx_parse(contact, strlen(contact), &parsed, NULL) == 0)
        json_object_set_new(shown->body, "contact", parsed);
    free(contact);
}

static void add_reports(struct store *store, const struct shown *shown, bool desk)
{
    json_t *first = NULL;
    json_t *reports = joining_reports_json(store, shown->id, desk, &first);
    if (json_array_size(reports) > 0) {
        json_object_set(shown->body, "first_said", first);
        json_object_set(shown->body, "joined", reports);
    }
    json_decref(first);
    json_decref(reports);
}

static void set_case(json_t *answer, int64_t case_id)
{
    char name[24];
    snprintf(name, sizeof name, "C%lld", (long long)case_id);
    json_object_set_new(answer, "case", json_string(name));
}

void complaints_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct shown shown = {0};
    char uuid[UUID_TEXT];
    bool desk = (rq->roles & ROLE_DESK) != 0;
    int rc = uuid_normalize(rq->part[0], uuid)
                 ? find(store, uuid, &shown, &err)
                 : error_set(&err, ERROR_NOT_FOUND, "%.60s is not a complaint's id", rq->part[0]);
    if (rc) {
        json_decref(shown.body);
        request_reply_error(rq, rc, &err);
        return;
    }
    set_case(shown.body, shown.case_id);
    json_object_set_new(shown.body, "lot", understood_code(store, shown.lot_id, NULL));
    if (desk)
        add_contact(store, &shown, shown.first_only ? uuid : "");
    if (!shown.first_only)
        add_reports(store, &shown, desk);
    request_reply_json(rq, 200, shown.body);
}

/* ---- joining and separating ---- */

struct joining {
    const struct setup *setup;
    char uuid[UUID_TEXT], same_as[UUID_TEXT]; /* same_as "": separate */
    int64_t now_ms;
    struct complaint_placed placed;
};

static int join(struct store *store, void *arg, struct error *err)
{
    struct joining *j = arg;
    if (!j->same_as[0])
        return joining_separate(&j->setup->desk, store, j->uuid, j->now_ms, &j->placed, err);
    return joining_join(&j->setup->desk, store, j->uuid, j->same_as, j->now_ms, &j->placed, err);
}

static void answer_join(struct request *rq, struct store *store, struct joining *j)
{
    struct error err = {0};
    int rc = writer_run(rq->app->writer, join, j, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
        return;
    }
    app_wake(rq->app);
    json_t *answer = json_pack("{s:s, s:b}", "complaint", j->uuid, "again", (int)j->placed.again);
    set_case(answer, j->placed.case_id);
    json_object_set_new(answer, "lot", understood_code(store, j->placed.lot_id, NULL));
    json_object_set_new(answer, "same_as", joining_of_json(store, j->uuid));
    request_reply_json(rq, 200, answer);
}

static int read_uuid(const struct request *rq, struct joining *j, struct error *err)
{
    if (uuid_normalize(rq->part[0], j->uuid))
        return 0;
    return error_set(err, ERROR_NOT_FOUND, "%.60s is not a complaint's id", rq->part[0]);
}

static int read_same_as(const struct request *rq, struct joining *j, struct error *err)
{
    const char *same_as = NULL;
    json_t *body = NULL;
    int rc = request_json(rq, &body, err);
    if (!rc)
        rc = jsonx_string(body, "same_as", &same_as, err);
    if (!rc && (!same_as || !uuid_normalize(same_as, j->same_as))) {
        rc = error_set(err, ERROR_INVALID, "must be the id of the complaint it repeats");
        error_field(err, "same_as", same_as ? same_as : "");
    }
    json_decref(body);
    return rc;
}

void complaints_join(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct joining j = {.now_ms = app_now_ms(rq->app)};
    struct setup *setup = app_setup(rq->app);
    j.setup = setup;
    int rc = read_uuid(rq, &j, &err);
    if (!rc)
        rc = read_same_as(rq, &j, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        answer_join(rq, store, &j);
    setup_unref(setup);
}

void complaints_separate(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct joining j = {.now_ms = app_now_ms(rq->app)};
    struct setup *setup = app_setup(rq->app);
    j.setup = setup;
    int rc = read_uuid(rq, &j, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        answer_join(rq, store, &j);
    setup_unref(setup);
}
