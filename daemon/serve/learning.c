/* Whether rankings learn from what verdicts confirmed nearby: switched by QA, shown by scores. */
#include "rank/learning.h"
#include "base/jsonx.h"
#include "serve/app.h"
#include "serve/decided.h"
#include "serve/route.h"
#include <stdlib.h>

static int read_switch(const json_t *body, struct learning_switch *ret, struct error *err)
{
    const json_t *learn = json_object_get(body, "learn");
    if (!json_is_boolean(learn)) {
        error_field(err, "learn", "");
        return error_set(err, ERROR_INVALID, learn ? "must be true or false" : "learn is missing");
    }
    ret->on = json_is_true(learn);
    return jsonx_needed(body, "by", LENGTH_PERSON, &ret->by, err);
}

/* What is kept so far is what is in force: one switch at a time, until its own is. */
static int keep(struct app *app, struct learning_switch *one, struct error *err)
{
    char at[40];
    struct setup *setup = app_setup(app);
    one->at_ms = app_now_ms(app);
    one->at = when_format(setup->tz, one->at_ms, at);
    json_t *kept =
        learning_is_on(setup->triage) == one->on ? NULL : learning_switched(setup->triage, one);
    setup_unref(setup);
    if (!kept)
        return error_set(err, ERROR_CONFLICT, "rankings %s already",
                         one->on ? "learn from verdicts nearby"
                                 : "learn nothing from verdicts nearby");
    char *text = jsonx_dump(kept);
    int rc = decided_keep(app, LEARNING_SETTING, text, err);
    free(text);
    json_decref(kept);
    return rc;
}

void learning_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct learning_switch one = {0};
    json_t *body = NULL;
    char by[REQUEST_SENDER];
    (void)store;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_switch(body, &one, &err);
    if (!rc) {
        request_sender(rq, one.by, by, sizeof by);
        one.by = by;
        pthread_mutex_lock(&rq->app->switching);
        rc = keep(rq->app, &one, &err);
        pthread_mutex_unlock(&rq->app->switching);
    }
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        struct setup *setup = app_setup(rq->app);
        log_write(&rq->app->log, LOG_LEVEL_INFO, "rankings %s",
                  one.on ? "learn from verdicts nearby" : "learn no more from verdicts nearby");
        request_reply_json(
            rq, 200, json_pack("{s:b, s:s}", "on", one.on, "rules", triage_hash(setup->triage)));
        setup_unref(setup);
    }
    json_decref(body);
}
