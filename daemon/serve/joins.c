/* One complaint as it stands, with the reports that were joined to it; joining and separating. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "desk/passed_on.h"
#include "desk/whole.h"
#include "serve/app.h"
#include "serve/route.h"
#include <stdlib.h>
#include <string.h>

void joins_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *complaint = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = whole_complaint(&setup->desk, store, rq->part[0], (rq->roles & ROLE_DESK) != 0,
                             &complaint, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, complaint, &err);
}

/* ---- joining and separating ---- */

struct joining {
    const struct setup *setup;
    char uuid[UUID_TEXT], same_as[UUID_TEXT]; /* same_as "": separate */
    bool anyway;                              /* of two lots */
    bool unseen;                              /* same_as is */
    const char *user;
    int64_t now_ms;
    struct complaint_placed placed;
};

static int join(struct store *store, void *arg, struct error *err)
{
    struct joining *j = arg;
    const struct complaint_why why = {
        j->user, j->same_as[0] ? "joined to the complaint it repeats" : "separated again",
        j->now_ms};
    if (!j->same_as[0])
        return joining_separate(&j->setup->desk, store, j->uuid, &why, &j->placed, err);
    const struct joining_pair pair = {j->uuid, j->same_as, j->anyway, j->unseen};
    return joining_join(&j->setup->desk, store, &pair, &why, &j->placed, err);
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
    if (seen_complaint(store, j->placed.complaint_id)) {
        json_object_set_new(answer, "case", CASE_ID_JSON(j->placed.case_id));
        logged_json(&j->setup->desk, store, j->placed.complaint_id, answer);
        json_object_set_new(answer, "same_as", joining_of_json(store, j->uuid));
    } else {
        passed_on_json(answer);
        json_object_set_new(answer, "same_as", json_null());
    }
    request_reply_json(rq, 200, answer);
}

/* A word that names none, or several, is a fault of the body. */
static int refuse_same_as(const char *same_as, struct error *err)
{
    if (err->code != ERROR_CONFLICT) {
        error_clear(err);
        error_set(err, ERROR_INVALID, "must be the id of the complaint it repeats");
    }
    error_field(err, "same_as", same_as);
    return err->code;
}

static int read_same_as(const struct request *rq, struct store *store, struct joining *j,
                        struct error *err)
{
    const char *same_as = NULL;
    json_t *body = NULL;
    int rc = request_json(rq, &body, err);
    if (!rc)
        rc = jsonx_string(body, "same_as", &same_as, err);
    if (!rc && named_complaint(store, same_as ? same_as : "", j->same_as, err))
        rc = refuse_same_as(same_as ? same_as : "", err);
    j->unseen = !rc && !seen_report(store, j->same_as);
    j->anyway = json_is_true(json_object_get(body, "anyway"));
    json_decref(body);
    return rc;
}

void joins_join(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct joining j = {.user = rq->user, .now_ms = app_now_ms(rq->app)};
    struct setup *setup = app_setup(rq->app);
    j.setup = setup;
    int rc = named_complaint(store, rq->part[0], j.uuid, &err);
    if (!rc)
        rc = read_same_as(rq, store, &j, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        answer_join(rq, store, &j);
    setup_unref(setup);
}

void joins_separate(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct joining j = {.user = rq->user, .now_ms = app_now_ms(rq->app)};
    struct setup *setup = app_setup(rq->app);
    j.setup = setup;
    int rc = named_complaint(store, rq->part[0], j.uuid, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        answer_join(rq, store, &j);
    setup_unref(setup);
}
