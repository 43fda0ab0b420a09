/* The plant's calibration of the mold models: what its retained samples say, and whether that is
 * in force. */
#include "rank/calibration.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/decided.h"
#include "serve/route.h"
#include <stdlib.h>
#include <string.h>

void calibration_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *report = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = calibration_report(setup->triage, store, &report, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, report, &err);
}

/* ---- adopting and forgetting ---- */

struct adopting {
    bool adopt, forget;
    const char *by;
    const json_t *shown; /* the fit that was looked at before; NULL: none */
};

static int read_adopting(const json_t *body, struct adopting *ret, struct error *err)
{
    ret->shown = json_object_get(body, "fit");
    int rc = jsonx_bool(body, "adopt", &ret->adopt, err);
    if (!rc)
        rc = jsonx_bool(body, "forget", &ret->forget, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &ret->by, err);
    if (!rc && ret->adopt == ret->forget) {
        rc = error_set(err, ERROR_INVALID, "either adopt or forget must be true");
        error_field(err, "adopt", "");
    }
    return rc;
}

/* As text: a number that went out and came back may have changed its type. */
static bool same_fit(const json_t *a, const json_t *b)
{
    char *one = jsonx_dump(a), *other = jsonx_dump(b);
    bool same = strcmp(one, other) == 0;
    free(one);
    free(other);
    return same;
}

/* The text to keep: of the fit as the samples stand now, if it is the one that was looked at. */
static int fit_to_keep(struct request *rq, struct store *store, const struct setup *setup,
                       const struct adopting *a, char **ret, struct error *err)
{
    char now[40];
    json_t *report = NULL;
    int rc = calibration_report(setup->triage, store, &report, err);
    if (rc)
        return rc;
    if (!json_is_true(json_object_get(report, "valid"))) {
        rc = error_set(err, ERROR_CONFLICT, "cannot be adopted: %s",
                       json_string_value(json_object_get(report, "reason")));
    } else if (a->shown && !same_fit(a->shown, json_object_get(report, "fit"))) {
        rc = error_set(err, ERROR_CONFLICT, "the samples have changed since that fit was shown");
        error_hint(err, "look at the new one first");
    } else {
        json_t *adoption =
            calibration_adoption(report, a->by, when_format(setup->tz, app_now_ms(rq->app), now));
        *ret = jsonx_dump(adoption);
        json_decref(adoption);
    }
    json_decref(report);
    return rc;
}

static void reply_adopted(struct request *rq, const char *value)
{
    json_t *adopted = NULL;
    struct setup *setup = app_setup(rq->app);
    if (value)
        jsonx_parse(value, strlen(value), &adopted, NULL);
    json_t *answer =
        json_pack("{s:o?, s:s}", "adopted", adopted, "rules", triage_hash(setup->triage));
    setup_unref(setup);
    request_reply_json(rq, 200, answer);
}

void calibration_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct adopting a = {0};
    json_t *body = NULL;
    char *value = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_adopting(body, &a, &err);
    if (!rc && a.adopt)
        rc = fit_to_keep(rq, store, setup, &a, &value, &err);
    setup_unref(setup);
    if (!rc)
        rc = decided_keep(rq->app, CALIBRATION_SETTING, value, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        log_write(&rq->app->log, LOG_LEVEL_INFO, "calibration %s", value ? "adopted" : "forgotten");
        reply_adopted(rq, value);
    }
    json_decref(body);
    free(value);
}
