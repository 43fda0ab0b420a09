/* One complaint as it stands, with the reports that were joined to it; joining and separating. */
#include "base/jsonx.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/whole.h"
#include "serve/app.h"
#include "serve/route.h"
#include <stdlib.h>
#include <string.h>

static void set_case(json_t *answer, int64_t case_id)
{
    char name[24];
    snprintf(name, sizeof name, "C%lld", (long long)case_id);
    json_object_set_new(answer, "case", json_string(name));
}

void joins_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *complaint = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = whole_complaint(&setup->desk, store, rq->part[0], (rq->roles & ROLE_DESK) != 0,
                             &complaint, &err);
    setup_unref(setup);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, complaint);
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
    logged_json(&j->setup->desk, store, j->placed.complaint_id, answer);
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

void joins_join(struct request *rq, struct store *store)
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

void joins_separate(struct request *rq, struct store *store)
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
