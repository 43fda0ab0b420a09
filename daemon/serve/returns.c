/* Returns over a period. */
#include "patterns/returns.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/route.h"

enum { USUAL_DAYS = 28, DAYS_MOST = 800 };

static int read_day(const struct request *rq, const char *name, int32_t usual, int32_t *ret,
                    struct error *err)
{
    const char *text = request_query(rq, name);
    *ret = usual;
    int rc = text ? day_parse(text, ret, err) : 0;
    if (rc)
        error_field(err, name, text);
    return rc;
}

/* Without a period: the last four weeks, today included. */
static int read_period(const struct request *rq, const struct tz *tz, struct returns_query *ret,
                       struct error *err)
{
    int rc = read_day(rq, "to", tz_day(tz, app_now_ms(rq->app)), &ret->to_day, err);
    if (!rc)
        rc = read_day(rq, "from", ret->to_day - USUAL_DAYS + 1, &ret->from_day, err);
    if (!rc && (ret->from_day > ret->to_day || ret->to_day - ret->from_day >= DAYS_MOST)) {
        rc = error_set(err, ERROR_INVALID, "must not lie after 'to', nor %d days before it",
                       DAYS_MOST);
        error_field(err, "from", request_query(rq, "from"));
    }
    return rc;
}

void returns_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *report = NULL;
    struct setup *setup = app_setup(rq->app);
    struct returns_query query = {.catalogue = triage_catalogue(setup->triage)};
    int rc = read_period(rq, setup->tz, &query, &err);
    if (!rc)
        rc = returns_report(store, setup->tz, &query, &report, &err);
    setup_unref(setup);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, report);
}
