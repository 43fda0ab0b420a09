/* Returns over a period. */
#include "patterns/returns.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "serve/app.h"
#include "serve/plant_asked.h"
#include "serve/route.h"

enum { USUAL_DAYS = 28, DAYS_MOST = 800 };

/* Without a period: the last four weeks, today included. */
static int read_period(const struct request *rq, const struct tz *tz, struct returns_query *ret,
                       struct error *err)
{
    ret->from_day = WHEN_UNKNOWN_DAY;
    ret->to_day = tz_day(tz, app_now_ms(rq->app));
    int rc = request_query_days(rq, &ret->from_day, &ret->to_day, err);
    if (ret->from_day == WHEN_UNKNOWN_DAY)
        ret->from_day = ret->to_day - USUAL_DAYS + 1;
    if (!rc && ret->to_day - ret->from_day >= DAYS_MOST) {
        rc = error_set(err, ERROR_INVALID, "must not lie %d days or more before 'to'", DAYS_MOST);
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
    int rc = plant_asked(rq, setup, store, &query.plant, &err);
    if (!rc)
        rc = read_period(rq, tz_of(setup->tz, query.plant), &query, &err);
    if (!rc)
        rc = returns_report(store, setup->tz, &query, &report, &err);
    if (!rc)
        plant_level_set(report, query.plant);
    setup_unref(setup);
    request_reply_result(rq, rc, report, &err);
}
