/* Record uploads: POST /v1/records/KIND, whole or in parts (see sessions.h). */
#include "base/text.h"
#include "base/uuid.h"
#include "serve/app.h"
#include "serve/route.h"
#include "serve/sessions.h"
#include "triage/triage.h"
#include <string.h>

struct upload {
    char id[UUID_TEXT];
    int64_t part;
    bool last, flags_keep, flags_dry;
};

static int query_flag(const struct request *rq, const char *name, bool missing, bool *ret,
                      struct error *err)
{
    int64_t value;
    int rc = request_query_int(rq, name, missing, &value, err);
    *ret = value != 0;
    return rc;
}

static int read_upload(const struct request *rq, int64_t now_ms, struct upload *u,
                       struct error *err)
{
    const char *id = request_query(rq, "load");
    if (id && !uuid_normalize(id, u->id)) {
        error_set(err, ERROR_INVALID, "must be a UUID");
        error_field(err, "load", id);
        return ERROR_INVALID;
    }
    if (!id)
        uuid7(now_ms, u->id);
    int rc = request_query_int(rq, "part", 0, &u->part, err);
    if (!rc)
        rc = query_flag(rq, "last", id == NULL, &u->last, err);
    if (!rc)
        rc = query_flag(rq, "keep_good", false, &u->flags_keep, err);
    return rc ? rc : query_flag(rq, "dry_run", false, &u->flags_dry, err);
}

static int feed(struct request *rq, struct store *store, struct load *load, const struct upload *u,
                json_t **ret, struct error *err)
{
    json_t *refused = NULL;
    int rc = load_feed(load, store, rq->body, rq->body_length, &refused, err);
    if (!rc && u->last) {
        rc = load_finish(load, store, rq->app->writer, ret, err);
        if (!rc) {
            /* refusals of this part come with those of the end */
            json_t *all = json_object_get(*ret, "refused");
            json_array_extend(refused, all);
            json_object_set(*ret, "refused", refused);
        }
    } else if (!rc) {
        *ret = json_pack("{s:s, s:I, s:I, s:O}", "load", u->id, "part", (json_int_t)u->part, "read",
                         (json_int_t)load_rows(load), "refused", refused);
    }
    json_decref(refused);
    return rc;
}

void records_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct upload u = {.part = 0};
    struct load *load = NULL;
    json_t *answer = NULL;
    int64_t now_ms = app_now_ms(rq->app);
    const char *source = request_query(rq, "source");
    struct setup *setup = app_setup(rq->app);
    int rc = read_upload(rq, now_ms, &u, &err);
    struct load_options options = {
        .kind = rq->part[0],
        .id = u.id,
        .source = source ? source : "upload",
        .ndjson = strstr(rq->content_type, "ndjson") != NULL,
        .keep_good = u.flags_keep,
        .dry_run = u.flags_dry,
        .catalogue = triage_catalogue(setup->triage),
        .state_dir = rq->app->state_dir,
        .now_ms = now_ms,
    };
    if (!rc)
        rc = sessions_take(rq->app->sessions, u.id, u.part, now_ms, &options, &load, &err);
    if (!rc) {
        rc = feed(rq, store, load, &u, &answer, &err);
        bool ended = rc != 0 || u.last;
        sessions_give(rq->app->sessions, u.id, ended, app_now_ms(rq->app));
        if (ended)
            load_abort(load);
        if (u.last)
            app_wake(rq->app);
    }
    setup_unref(setup);
    if (rc) {
        json_decref(answer);
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200, answer);
    }
}
