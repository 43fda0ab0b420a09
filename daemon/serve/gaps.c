/* What the records lack. */
#include "tell/gaps.h"
#include "serve/app.h"
#include "serve/route.h"

/* a stop waits for it: less than systemd's patience */
enum { WEEKS = 8, WEEKS_MOST = 53, CASES_DAYS = 92, WITHIN_S = 20, WITHIN_S_MOST = 30 };

void gaps_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    int64_t weeks = WEEKS, within_s = WITHIN_S;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_query_within(rq, "weeks", 1, WEEKS_MOST, &weeks, &err);
    if (!rc)
        rc = request_query_within(rq, "within", 1, WITHIN_S_MOST, &within_s, &err);
    const struct gaps_query query = {
        .weeks = (int)weeks, .cases_ms = CASES_DAYS * WHEN_DAY_MS, .within_ms = within_s * 1000};
    if (!rc)
        rc = gaps_tell(setup->triage, store, &query, &answer, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, answer, &err);
}
