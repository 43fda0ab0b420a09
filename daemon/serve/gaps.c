/* What the records lack. */
#include "tell/gaps.h"
#include "base/plant_level.h"
#include "serve/app.h"
#include "serve/plant_asked.h"
#include "serve/route.h"
#include <stdio.h>
#include <string.h>

/* a stop waits for it: less than systemd's patience */
enum { WEEKS = 8, WEEKS_MOST = 53, CASES_DAYS = 92, WITHIN_S = 30, WITHIN_S_MOST = 30 };

/* "uses:film", "mixes": text is kept in `room`. */
static int read_record(const struct request *rq, char room[static LENGTH_NAME + 1],
                       struct without *ret, bool *ret_there, struct error *err)
{
    const char *text = request_query(rq, "record");
    size_t length = text ? strcspn(text, ":") : 0;
    *ret_there = text != NULL;
    if (!text)
        return 0;
    snprintf(room, LENGTH_NAME + 1, "%.*s", (int)length, text);
    if (!record_kind_parse(room, &ret->kind)) {
        error_set(err, ERROR_INVALID, "is no kind of record");
        error_field(err, "record", text);
        return ERROR_INVALID;
    }
    snprintf(room, LENGTH_NAME + 1, "%s", text[length] ? text + length + 1 : "");
    ret->what = room;
    return 0;
}

void gaps_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct without only = {0};
    char what[LENGTH_NAME + 1];
    bool is_one = false;
    int64_t weeks = WEEKS, within_s = WITHIN_S;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_query_within(rq, "weeks", 1, WEEKS_MOST, &weeks, &err);
    if (!rc)
        rc = request_query_within(rq, "within", 1, WITHIN_S_MOST, &within_s, &err);
    if (!rc)
        rc = read_record(rq, what, &only, &is_one, &err);
    const char *plant = NULL;
    if (!rc)
        rc = plant_asked(rq, setup, store, &plant, &err);
    const struct gaps_query query = {.plant = plant,
                                     .only = is_one ? &only : NULL,
                                     .weeks = (int)weeks,
                                     .cases_ms = CASES_DAYS * WHEN_DAY_MS,
                                     .within_ms = within_s * 1000};
    if (!rc)
        rc = gaps_tell(setup->triage, store, &query, &answer, &err);
    if (!rc)
        plant_level_set(answer, plant);
    setup_unref(setup);
    request_reply_result(rq, rc, answer, &err);
}
