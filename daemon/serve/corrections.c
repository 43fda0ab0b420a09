/* Correcting a complaint, withdrawing one, bringing it back; who did what when. */
#include "base/jsonx.h"
#include "base/length.h"
#include "base/short_id.h"
#include "desk/answer.h"
#include "desk/correcting.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "desk/passed_on.h"
#include "desk/story.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/call_back.h"
#include "tell/tell.h"
#include <stdio.h>
#include <string.h>

struct change {
    struct setup *setup;
    struct correcting c;
    bool withdraw, undo;
    char uuid[UUID_TEXT], by[REQUEST_SENDER];
};

static int change_job(struct store *store, void *arg, struct error *err)
{
    struct change *change = arg;
    const struct desk *desk = &change->setup->desk;
    return change->withdraw ? correcting_withdraw(desk, store, &change->c, change->undo, err)
                            : correcting_apply(desk, store, &change->c, err);
}

static int need_reason(const json_t *body, const char **ret, struct error *err)
{
    *ret = NULL;
    int rc = jsonx_text(body, "reason", LENGTH_REASON, ret, err);
    if (rc || (*ret && **ret))
        return rc;
    error_field(err, "reason", "");
    return error_set(err, ERROR_INVALID, "is missing: every change is kept with it");
}

static int read_by(const struct request *rq, const json_t *body, struct change *change,
                   struct error *err)
{
    const char *by = NULL;
    int rc = jsonx_text(body, "by", LENGTH_PERSON, &by, err);
    if (rc)
        return rc;
    request_sender(rq, by, change->by, sizeof change->by);
    change->c.why.by = change->by;
    return 0;
}

static int read_fields(const json_t *body, struct change *change, struct error *err)
{
    change->c.fields = json_object_get(body, "fields");
    if (json_is_object(change->c.fields) && json_object_size(change->c.fields))
        return 0;
    error_field(err, "fields", "");
    return error_set(err, ERROR_INVALID, "must be an object of the fields to correct");
}

static int read_change(struct request *rq, struct store *store, const json_t *body,
                       struct change *change, struct error *err)
{
    int rc = named_complaint(store, rq->part[0], change->uuid, err);
    change->c.uuid = change->uuid;
    change->c.why.at_ms = app_now_ms(rq->app);
    if (!rc)
        rc = need_reason(body, &change->c.why.reason, err);
    if (!rc)
        rc = read_by(rq, body, change, err);
    if (!rc && change->withdraw)
        rc = jsonx_bool(body, "undo", &change->undo, err);
    if (!rc && !change->withdraw)
        rc = read_fields(body, change, err);
    return rc;
}

/* As one that is logged is answered: what it says is heard by the same person. */
static void add_harm(struct store *store, const struct change *change, json_t *answer)
{
    json_t *ranking = NULL;
    struct answer_harm says = {change->c.harm, change->c.harm_possible, change->c.harm_came,
                               change->c.mail_gathered, false};
    call_back_possible(store, change->uuid, &says.reachable, NULL);
    tell_brief(change->setup->triage, store, change->c.placed.case_id, &ranking, NULL);
    answer_changed_harm(&change->setup->desk, store, &says, ranking, change->c.why.at_ms, answer);
    json_decref(ranking);
}

static json_t *answer_json(struct store *store, const struct change *change)
{
    const struct complaint_placed *placed = &change->c.placed;
    json_t *answer = json_pack("{s:s, s:o, s:b, s:s, s:O}", "complaint", change->uuid, "case",
                               CASE_ID_JSON(placed->case_id), "again", (int)placed->again, "by",
                               change->by, "changed", change->c.changed);
    if (change->withdraw)
        json_object_set_new(answer, "withdrawn", json_boolean(!change->undo));
    bool seen = seen_complaint(store, placed->complaint_id);
    if (!change->withdraw || change->undo)
        add_harm(store, change, answer);
    json_t *heard = overheard_json(store, &change->c.heard, true);
    if (heard)
        json_object_set_new(answer, "heard", heard);
    if (json_array_size(change->c.taken))
        json_object_set(answer, "taken", change->c.taken);
    if (seen) {
        logged_json(&change->setup->desk, store, placed->complaint_id, answer);
        logged_doubts(&change->setup->desk, store, placed->complaint_id, answer);
    } else {
        passed_on_json(answer);
        json_object_set_new(answer, "doubts", json_array());
        json_object_set_new(answer, "cautions", json_array());
    }
    return answer;
}

static void answer_change(struct request *rq, struct store *store, bool withdraw)
{
    struct error err = {0};
    struct change change = {.setup = app_setup(rq->app), .withdraw = withdraw};
    change.c.shown = (rq->roles & ROLE_DESK) != 0;
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_change(rq, store, body, &change, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, change_job, &change, &err);
    if (rc) {
        request_reply_faults(rq, rc, &err, change.c.faults, NULL);
    } else {
        app_wake(rq->app);
        request_reply_json(rq, 200, answer_json(store, &change));
    }
    json_decref(change.c.changed);
    json_decref(change.c.taken);
    json_decref(change.c.faults);
    json_decref(change.c.harm);
    json_decref(change.c.heard.harm);
    json_decref(body);
    setup_unref(change.setup);
}

void corrections_correct(struct request *rq, struct store *store)
{
    answer_change(rq, store, false);
}

void corrections_withdraw(struct request *rq, struct store *store)
{
    answer_change(rq, store, true);
}

void corrections_history(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *story = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc =
        story_json(&setup->desk, store, rq->part[0], (rq->roles & ROLE_DESK) != 0, &story, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, story, &err);
}
