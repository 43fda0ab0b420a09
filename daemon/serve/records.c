/* Record uploads: POST /v1/records/KIND, whole or in parts (see sessions.h), and GET
 * /v1/loads/ID/refused for refusals that are too many for an answer. */
#include "base/text.h"
#include "base/uuid.h"
#include "rank/triage.h"
#include "serve/app.h"
#include "serve/route.h"
#include "serve/sessions.h"
#include <string.h>

struct upload {
    char id[UUID_TEXT];
    char trial[UUID_TEXT]; /* "" none */
    int64_t part;
    bool last, flags_keep, flags_dry, take_last;
    struct load *load;
    bool ended; /* the load is over and freed */
};

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
        uuid_v7(now_ms, u->id);
    const char *trial = request_query(rq, "trial");
    if (trial && !uuid_normalize(trial, u->trial)) {
        error_field(err, "trial", trial);
        return error_set(err, ERROR_INVALID, "must be a UUID");
    }
    int rc = request_query_int(rq, "part", 0, &u->part, err);
    const char *take = request_query(rq, "take");
    u->take_last = take != NULL;
    if (!rc && take && strcmp(take, "last") != 0) {
        error_field(err, "take", take);
        rc = error_set(err, ERROR_INVALID, "must be last");
    }
    if (!rc)
        rc = request_query_flag(rq, "last", id == NULL, &u->last, err);
    if (!rc)
        rc = request_query_flag(rq, "keep_good", false, &u->flags_keep, err);
    return rc ? rc : request_query_flag(rq, "dry_run", false, &u->flags_dry, err);
}

static int feed(struct request *rq, struct store *store, struct upload *u, json_t **ret,
                struct error *err)
{
    int rc = load_feed(u->load, store, rq->body, rq->body_length, err);
    u->ended = true;
    if (!rc && u->last)
        return load_finish(u->load, store, rq->app->writer, ret, err);
    if (!rc)
        rc = load_told(u->load, ret, err);
    if (rc) {
        load_abort(u->load);
        return rc;
    }
    u->ended = false;
    json_object_set_new(*ret, "load", json_string(u->id));
    json_object_set_new(*ret, "part", json_integer(u->part));
    return 0;
}

static int read_kind(const char *word, enum record_kind *ret, struct error *err)
{
    if (record_kind_parse(word, ret))
        return 0;
    struct text_buffer known = {0};
    for (int kind = 0; kind < RECORD_KINDS; kind++)
        text_appendf(&known, " %s", record_kind_table((enum record_kind)kind)->kind);
    error_set(err, ERROR_NOT_FOUND, "%.40s is not a kind of record", word);
    error_hint(err, "the kinds are%s", known.data);
    text_buffer_free(&known);
    return ERROR_NOT_FOUND;
}

void records_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct upload u = {.part = 0};
    json_t *answer = NULL;
    int64_t now_ms = app_now_ms(rq->app);
    const char *source = request_query(rq, "source");
    struct setup *setup = app_setup(rq->app);
    enum record_kind kind;
    int rc = read_kind(rq->part[0], &kind, &err);
    if (!rc)
        rc = read_upload(rq, now_ms, &u, &err);
    const struct load_options options = {
        .kind = kind,
        .format = strstr(rq->content_type, "ndjson") ? IMPORT_NDJSON : IMPORT_CSV,
        .source = source,
        .keep_good = u.flags_keep,
        .dry_run = u.flags_dry,
        .trial = *u.trial ? u.trial : NULL,
        .take_last = u.take_last,
        .catalogue = triage_catalogue(setup->triage),
        .state_dir = rq->app->state_dir,
        .clock = &rq->app->clock,
    };
    const struct sessions_part part = {.id = u.id,
                                       .number = u.part,
                                       .bytes = rq->body_length,
                                       .user = rq->user,
                                       .connection = rq->connection,
                                       .most = config_number(setup->config, "limits/uploads"),
                                       .most_bytes =
                                           config_number(setup->config, "limits/upload_mb") << 20,
                                       .steady_ms = clock_monotonic_ms()};
    if (!rc)
        rc = sessions_take(rq->app->sessions, &part, &options, &u.load, &err);
    if (!rc) {
        rc = feed(rq, store, &u, &answer, &err);
        sessions_give(rq->app->sessions, u.id, u.ended, clock_monotonic_ms());
        if (u.last)
            app_wake(rq->app);
    }
    setup_unref(setup);
    request_reply_result(rq, rc, answer, &err);
}

void records_refused(struct request *rq, struct store *store)
{
    (void)store;
    struct error err = {0};
    char id[UUID_TEXT], *lines = NULL;
    size_t length = 0;
    int64_t from = 0;
    int rc = uuid_normalize(rq->part[0], id)
                 ? request_query_int(rq, "from", 0, &from, &err)
                 : error_set(&err, ERROR_NOT_FOUND, "%.60s is not a load's id", rq->part[0]);
    if (!rc)
        rc = load_refused(rq->app->state_dir, id, from < 0 ? 0 : from, &lines, &length, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply(rq, 200, "application/x-ndjson", lines, length);
}
