/* Lots: what a code means, and what is on record of it. */
#include "base/jsonx.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/passed_on.h"
#include "desk/spoken.h"
#include "lots/standing.h"
#include "serve/app.h"
#include "serve/lot_named.h"
#include "serve/route.h"
#include "tell/hold_json.h"
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
                                .settle_at = setup->desk.settle_at,
                                .settle_of = setup->desk.settle_of};
    if (!code_date)
        return 0;
    int rc = day_parse(code_date, &query->code_day, err);
    if (rc)
        error_field(err, "code_date", code_date);
    return rc;
}

struct newest {
    const struct tz *tz;
    json_t *hold;
    int64_t at_ms;
};

/* What was done last: held, while a hold stands, else what was decided. */
static int take_newest(void *arg, const struct hold_row *row)
{
    struct newest *n = arg;
    char when[40];
    bool stands = row->ended_ms == WHEN_UNKNOWN_MS;
    int64_t at_ms = stands ? INT64_MAX : row->ended_ms;
    if (n->hold && at_ms < n->at_ms)
        return 0;
    n->at_ms = at_ms;
    json_decref(n->hold);
    n->hold =
        json_pack("{s:s, s:s, s:s, s:s, s:s}", "what", stands ? "hold" : "release", "disposition",
                  row->disposition, "reason", stands ? row->reason : row->end_reason, "by",
                  stands ? row->by_name : row->ended_by, "at",
                  when_format(tz_of(n->tz, row->plant), stands ? row->at_ms : row->ended_ms, when));
    return 0;
}

static void add_holds(struct store *store, const struct tz *tz, const struct hold_of *of,
                      json_t *answer)
{
    struct newest n = {.tz = tz};
    json_object_set_new(answer, "holds", hold_json_of(store, tz, of));
    hold_each_of(store, of, take_newest, &n, NULL);
    if (n.hold)
        json_object_set_new(answer, "hold", n.hold);
}

/* A whole code that no record bears still tells where and when it was packed. */
static json_t *read_json(struct store *store, const struct tz *tz, const struct lot_parsed *parsed)
{
    char date[16], time[16];
    struct hold_of of = {0};
    json_t *answer = json_object();
    text_clip(parsed->code[0] ? parsed->code : parsed->text, of.code, sizeof of.code);
    add_holds(store, tz, &of, answer);
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
static int records_json(struct store *store, struct setup *setup, const struct standing *standing,
                        json_t **ret, struct error *err)
{
    int64_t lot_id = standing->candidate[0].lot_id;
    const struct hold_of of = {.lot_id = lot_id};
    int rc = tell_lot(setup->triage, store, lot_id, ret, err);
    if (rc)
        return rc;
    json_object_set_new(*ret, "shown", json_string(standing->candidate[0].lot));
    add_holds(store, setup->tz, &of, *ret);
    return tell_lot_around(setup->triage, store, lot_id, *ret, err);
}

/* What laboratories found that says harm, of whichever lot it may be: of one of no case nothing
 * else tells it. */
static int add_found(struct store *store, const struct setup *setup,
                     const struct standing *standing, json_t *answer, struct error *err)
{
    json_t *all = json_array();
    int rc = 0;
    for (size_t i = 0; i < standing->count && !rc; i++) {
        struct hold_of of = {.lot_id = standing->candidate[i].lot_id};
        json_t *found = NULL;
        text_clip(standing->candidate[i].lot, of.code, sizeof of.code);
        rc = spoken_of_lot(&setup->desk, store, &of, &found, err);
        json_array_extend(all, found);
        json_decref(found);
    }
    if (json_array_size(all))
        json_object_set(answer, "open_harm", all);
    json_decref(all);
    return rc;
}

/* A date that the likeliest lot does not bear is told, not swallowed. */
static json_t *doubts_json(const struct lot_query *query, const struct standing *standing)
{
    char asked[16], best_by[16];
    json_t *doubts = json_array();
    int32_t code_day = standing->count ? standing->candidate[0].code_day : WHEN_UNKNOWN_DAY;
    if (query->code_day == WHEN_UNKNOWN_DAY || code_day == WHEN_UNKNOWN_DAY ||
        code_day == query->code_day)
        return doubts;
    json_array_append_new(doubts,
                          json_pack("{s:s, s:s, s:o}", "field", "code_date", "value",
                                    day_format(query->code_day, asked), "says",
                                    json_sprintf("lot %s is best by %s", standing->candidate[0].lot,
                                                 day_format(code_day, best_by))));
    return doubts;
}

/* Of the code itself, if no lot bears it, whatever lot it may be, misread. */
static json_t *code_holds_json(struct store *store, const struct tz *tz,
                               const struct lot_parsed *parsed)
{
    struct hold_of of = {0};
    text_clip(parsed->code[0] ? parsed->code : parsed->text, of.code, sizeof of.code);
    return hold_json_of(store, tz, &of);
}

static json_t *elsewhere_json(void)
{
    json_t *answer =
        json_pack("{s:b, s:[], s:[], s:[]}", "exact", 0, "candidates", "doubts", "holds");
    passed_on_lot(answer);
    return answer;
}

static int refuse_unknown(const struct lot_query *query, struct error *err)
{
    bool product = query->product && *query->product;
    bool date = query->code_day != WHEN_UNKNOWN_DAY;
    error_set(err, ERROR_NOT_FOUND, "no lot fits %.80s", query->lot_text);
    error_hint(err, "%s%s%scheck that its records are loaded", product ? "" : "give --product",
               date      ? ""
               : product ? "give --code-date"
                         : " or --code-date",
               product && date ? "" : ", or ");
    return ERROR_NOT_FOUND;
}

static void tell_standing(const struct lot_query *query, const struct standing *standing,
                          json_t *into)
{
    standing_json(standing, into);
    json_object_set_new(into, "doubts", doubts_json(query, standing));
    json_object_set_new(into, "exact", json_boolean(standing->state == LOT_EXACT));
    json_object_set_new(into, "candidates", standing_lots_json(standing));
    json_object_set(into, "lots", json_object_get(into, "candidates"));
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
    bool unknown = standing.state == LOT_UNKNOWN;
    bool elsewhere = unknown && matched.state > LOT_NOT_ON_RECORD;
    bool read = !elsewhere && standing.state <= LOT_NOT_ON_RECORD;
    json_t *held = code_holds_json(store, setup->tz, &matched.parsed), *answer = NULL;
    if (unknown && !elsewhere && !json_array_size(held))
        rc = refuse_unknown(query, err);
    else if (elsewhere)
        answer = elsewhere_json();
    else if (read)
        answer = read_json(store, setup->tz, &matched.parsed);
    else
        rc = records_json(store, setup, &standing, &answer, err);
    if (!rc && !read && !elsewhere)
        rc = add_found(store, setup, &standing, answer, err);
    if (!rc && !elsewhere)
        tell_standing(query, &standing, answer);
    if (!rc && !read)
        json_array_extend(json_object_get(answer, "holds"), held);
    json_decref(held);
    if (rc)
        json_decref(answer);
    else
        *ret = answer;
    return rc;
}

void lots_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct lot_query query;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    struct hold_of elsewhere;
    int rc = read_query(rq, setup, &query, &err);
    if (!rc && lot_named_elsewhere(setup, store, query.lot_text, query.received_ms, &elsewhere))
        answer = elsewhere_json();
    else if (!rc)
        rc = lot_json(store, setup, &query, &answer, &err);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}
