/* Lots: what a code means, holds and dispositions. */
#include "base/jsonx.h"
#include "base/text.h"
#include "lots/standing.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/hold.h"
#include "store/lot_find.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

static int read_query(const struct request *rq, const struct setup *setup, struct lot_query *query,
                      struct error *err)
{
    const char *code_date = request_query(rq, "code_date");
    *query = (struct lot_query){.lot_text = rq->part[0],
                                .product = request_query(rq, "product"),
                                .code_day = WHEN_UNKNOWN_DAY,
                                .store = request_query(rq, "store"),
                                .route = request_query(rq, "route"),
                                .bought_day = WHEN_UNKNOWN_DAY,
                                .found_day = WHEN_UNKNOWN_DAY,
                                .received_ms = app_now_ms(rq->app),
                                .tz = setup->tz,
                                .settle_at = setup->desk.settle_at};
    if (!code_date)
        return 0;
    int rc = day_parse(code_date, &query->code_day, err);
    if (rc)
        error_field(err, "code_date", code_date);
    return rc;
}

static void add_hold(struct store *store, const struct tz *tz, int64_t lot_id, json_t *answer)
{
    struct hold_row hold;
    char when[40];
    if (hold_of_lot(store, lot_id, &hold, NULL))
        return;
    json_object_set_new(answer, "hold",
                        json_pack("{s:s, s:s, s:s, s:s, s:s}", "what", hold.what, "disposition",
                                  hold.disposition, "reason", hold.reason, "by", hold.by_name, "at",
                                  when_format(tz, hold.at_ms, when)));
}

/* A whole code that no record bears still tells where and when it was packed. */
static json_t *read_json(const struct lot_parsed *parsed)
{
    char date[16], time[16];
    json_t *answer = json_object();
    if (parsed->line[0])
        json_object_set_new(answer, "line", json_string(parsed->line));
    if (parsed->shift[0])
        json_object_set_new(answer, "shift", json_string(parsed->shift));
    if (parsed->day != WHEN_UNKNOWN_DAY)
        json_object_set_new(answer, "made_on", json_string(day_format(parsed->day, date)));
    if (parsed->minute >= 0) {
        snprintf(time, sizeof time, "%02d:%02d", parsed->minute / 60, parsed->minute % 60);
        json_object_set_new(answer, "made_at", json_string(time));
    }
    return answer;
}

/* The records of the likeliest lot: named by "shown" where it is not the lot. */
static int records_json(struct store *store, struct setup *setup,
                        const struct lot_match_result *matched, json_t **ret, struct error *err)
{
    int64_t lot_id = matched->candidate[0].lot_id;
    int rc = tell_lot(setup->triage, store, lot_id, ret, err);
    if (rc)
        return rc;
    json_object_set_new(*ret, "shown", json_string(matched->candidate[0].code));
    add_hold(store, setup->tz, lot_id, *ret);
    return 0;
}

static int lot_json(struct store *store, struct setup *setup, const struct lot_query *query,
                    json_t **ret, struct error *err)
{
    struct lot_match_result matched = {0};
    struct standing standing;
    int rc = match_lot(setup->matcher, store, query, &matched, err);
    if (!rc)
        rc = standing_of_match(store, query, &matched, &standing, err);
    if (rc)
        return rc;
    if (matched.state == LOT_UNKNOWN) {
        error_set(err, ERROR_NOT_FOUND, "no lot fits %.80s", query->lot_text);
        error_hint(err, "give --product or --code-date, or check that its records are loaded");
        return ERROR_NOT_FOUND;
    }
    if (matched.state == LOT_NOT_ON_RECORD)
        *ret = read_json(&matched.parsed);
    else
        rc = records_json(store, setup, &matched, ret, err);
    if (rc)
        return rc;
    standing_json(&standing, *ret);
    json_object_set_new(*ret, "exact", json_boolean(matched.state == LOT_EXACT));
    json_object_set_new(*ret, "candidates", standing_lots_json(&standing));
    json_object_set(*ret, "lots", json_object_get(*ret, "candidates"));
    return 0;
}

void lots_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct lot_query query;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = read_query(rq, setup, &query, &err);
    if (!rc)
        rc = lot_json(store, setup, &query, &answer, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
    setup_unref(setup);
}

/* ---- holds ---- */

struct holding {
    const char *what, *disposition, *reason, *by;
    int64_t now_ms;
    int64_t *lot;
    size_t count;
};

static int hold_all(struct store *store, void *arg, struct error *err)
{
    const struct holding *h = arg;
    int rc = 0;
    for (size_t i = 0; i < h->count && !rc; i++)
        rc = hold_add(store, h->lot[i], h->what, h->disposition, h->reason, h->by, h->now_ms, err);
    return rc;
}

/* All lots must be known: a hold that misses one without a word would be worse than none. */
static int read_lots(struct store *store, const json_t *body, struct holding *h, struct error *err)
{
    const json_t *lots = json_object_get(body, "lots");
    size_t i;
    const json_t *code;
    if (json_array_size(lots) == 0) {
        error_set(err, ERROR_INVALID, "must be a list of lot codes");
        error_field(err, "lots", "");
        return ERROR_INVALID;
    }
    h->lot = xcalloc(json_array_size(lots), sizeof *h->lot);
    json_array_foreach(lots, i, code)
    {
        struct lot_find_row row;
        const char *text = json_is_string(code) ? json_string_value(code) : "";
        if (lot_find_by_code(store, text, &row, NULL)) {
            error_set(err, ERROR_NOT_FOUND, "there is no lot %.80s; nothing was recorded", text);
            error_field(err, "lots", text);
            error_hint(err, "`oddloaf lot CODE` shows what a code means");
            return ERROR_NOT_FOUND;
        }
        h->lot[h->count++] = row.lot_id;
    }
    return 0;
}

static int need(const json_t *body, const char *name, const char **ret, struct error *err)
{
    *ret = NULL;
    int rc = jsonx_string(body, name, ret, err);
    if (!rc && (!*ret || !**ret)) {
        error_set(err, ERROR_INVALID, "is missing");
        error_field(err, name, "");
        rc = ERROR_INVALID;
    }
    return rc;
}

static int check_disposition(const char *word, struct error *err)
{
    static const char *const WORDS[] = {"release", "rework", "divert", "destroy"};
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (strcmp(WORDS[i], word) == 0)
            return 0;
    }
    error_set(err, ERROR_INVALID, "must be release, rework, divert or destroy");
    error_field(err, "disposition", word);
    return ERROR_INVALID;
}

static void answer_hold(struct request *rq, struct store *store, const char *what)
{
    struct error err = {0};
    struct holding h = {.what = what, .now_ms = app_now_ms(rq->app)};
    bool release = strcmp(what, "release") == 0;
    json_t *body = NULL, *answer = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = need(body, "reason", &h.reason, &err);
    if (!rc)
        rc = need(body, "by", &h.by, &err);
    if (!rc && release)
        rc = need(body, "disposition", &h.disposition, &err);
    if (!rc && release)
        rc = check_disposition(h.disposition, &err);
    if (!rc)
        rc = read_lots(store, body, &h, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, hold_all, &h, &err);
    if (!rc) {
        answer = json_pack("{s:O}", release ? "released" : "held", json_object_get(body, "lots"));
        if (h.disposition)
            json_object_set_new(answer, "disposition", json_string(h.disposition));
    }
    free(h.lot);
    json_decref(body);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
}

void lots_hold(struct request *rq, struct store *store)
{
    answer_hold(rq, store, "hold");
}

void lots_release(struct request *rq, struct store *store)
{
    answer_hold(rq, store, "release");
}
