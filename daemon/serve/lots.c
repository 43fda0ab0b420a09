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

static void add_hold(const struct hold_row *hold, const struct tz *tz, json_t *answer)
{
    char when[40];
    json_object_set_new(answer, "hold",
                        json_pack("{s:s, s:s, s:s, s:s, s:s}", "what", hold->what, "disposition",
                                  hold->disposition, "reason", hold->reason, "by", hold->by_name,
                                  "at", when_format(tz, hold->at_ms, when)));
}

/* A whole code that no record bears still tells where and when it was packed. */
static json_t *read_json(struct store *store, const struct tz *tz, const struct lot_parsed *parsed)
{
    char date[16], time[16];
    struct hold_row hold = {0};
    json_t *answer = json_object();
    if (hold_of_code(store, parsed->code[0] ? parsed->code : parsed->text, &hold, NULL) == 0)
        add_hold(&hold, tz, answer);
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
    struct hold_row hold = {0};
    int rc = tell_lot(setup->triage, store, lot_id, ret, err);
    if (rc)
        return rc;
    json_object_set_new(*ret, "shown", json_string(matched->candidate[0].code));
    if (hold_of_lot(store, lot_id, &hold, NULL) == 0)
        add_hold(&hold, setup->tz, *ret);
    return 0;
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
        *ret = read_json(store, setup->tz, &matched.parsed);
    else
        rc = records_json(store, setup, &matched, ret, err);
    if (rc)
        return rc;
    standing_json(&standing, *ret);
    json_object_set_new(*ret, "doubts", doubts_json(query, &standing));
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
    const char *disposition, *reason, *by;
    struct hold_row entry;
    struct hold_of *of;
    size_t count;
    json_t *named, *not_on_record; /* what they came to */
};

static int hold_all(struct store *store, void *arg, struct error *err)
{
    const struct holding *h = arg;
    int rc = 0;
    for (size_t i = 0; i < h->count && !rc; i++)
        rc = hold_add(store, &h->of[i], &h->entry, err);
    return rc;
}

/* A lot on record by its code as printed or as read, else the code: a hold is safety, and does not
 * wait for records. Only a code that reads as several lots is refused. */
static int find_lot(const struct setup *setup, struct store *store, const char *text,
                    int64_t now_ms, struct hold_of *ret, struct error *err)
{
    enum { TWO = 2 };
    struct lot_parsed parsed;
    struct lot_find_row row, rows[TWO];
    struct lot_find_rows same = {.row = rows, .capacity = TWO};
    char fold[LOT_FIND_CODE];
    match_understand(setup->matcher, text, NULL, now_ms, setup->tz, &parsed);
    const char *code = parsed.code[0] ? parsed.code : parsed.text[0] ? parsed.text : text;
    *ret = (struct hold_of){0};
    text_clip(code, ret->code, sizeof ret->code);
    if (lot_find_by_code(store, text, &row, NULL) == 0 ||
        lot_find_by_code(store, code, &row, NULL) == 0) {
        ret->lot_id = row.lot_id;
        text_clip(row.code, ret->code, sizeof ret->code);
        return 0;
    }
    int rc = lot_find_by_fold(store, lot_find_fold(code, fold, sizeof fold), TWO, &same, err);
    if (rc || same.count == 0)
        return rc;
    if (same.count > 1) {
        error_set(err, ERROR_CONFLICT, "%.80s may be %s or %s; nothing was recorded", text,
                  rows[0].code, rows[1].code);
        error_field(err, "lots", text);
        error_hint(err, "write the code as it is on record, or name them all");
        return ERROR_CONFLICT;
    }
    ret->lot_id = rows[0].lot_id;
    text_clip(rows[0].code, ret->code, sizeof ret->code);
    return 0;
}

/* Only of a lot on record, or a code that is held, is there anything to decide. */
static int check_ends(struct store *store, const struct holding *h, const struct hold_of *of,
                      struct error *err)
{
    struct hold_row held;
    if (!h->disposition || of->lot_id || hold_of_code(store, of->code, &held, NULL) == 0)
        return 0;
    error_set(err, ERROR_NOT_FOUND,
              "there is no lot %.80s and no hold on that code; nothing was recorded", of->code);
    error_field(err, "lots", of->code);
    error_hint(err, "`oddloaf lot CODE` shows what a code means");
    return ERROR_NOT_FOUND;
}

static int read_lots(const struct setup *setup, struct store *store, const json_t *body,
                     struct holding *h, struct error *err)
{
    const json_t *lots = json_object_get(body, "lots");
    size_t i;
    const json_t *code;
    if (json_array_size(lots) == 0) {
        error_set(err, ERROR_INVALID, "must be a list of lot codes");
        error_field(err, "lots", "");
        return ERROR_INVALID;
    }
    h->of = xcalloc(json_array_size(lots), sizeof *h->of);
    json_array_foreach(lots, i, code)
    {
        const char *text = json_is_string(code) ? json_string_value(code) : "";
        struct hold_of *of = &h->of[h->count];
        if (!*text || json_string_length(code) >= sizeof of->code) {
            error_set(err, ERROR_INVALID, "must be a lot code of at most %zu bytes",
                      sizeof of->code - 1);
            error_field(err, "lots", text);
            return ERROR_INVALID;
        }
        int rc = find_lot(setup, store, text, h->entry.at_ms, of, err);
        if (!rc)
            rc = check_ends(store, h, of, err);
        if (rc)
            return rc;
        json_array_append_new(h->named, json_string(of->code));
        if (!of->lot_id)
            json_array_append_new(h->not_on_record, json_string(of->code));
        h->count++;
    }
    return 0;
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

static int read_holding(const struct setup *setup, struct store *store, const json_t *body,
                        struct holding *h, struct error *err)
{
    bool release = strcmp(h->entry.what, "release") == 0;
    int rc = jsonx_needed(body, "reason", LENGTH_REASON, &h->reason, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &h->by, err);
    if (!rc && release)
        rc = jsonx_needed(body, "disposition", LENGTH_WORD, &h->disposition, err);
    if (!rc && release)
        rc = check_disposition(h->disposition, err);
    if (rc)
        return rc;
    text_clip(h->reason, h->entry.reason, sizeof h->entry.reason);
    text_clip(h->by, h->entry.by_name, sizeof h->entry.by_name);
    text_clip(h->disposition ? h->disposition : "", h->entry.disposition,
              sizeof h->entry.disposition);
    return read_lots(setup, store, body, h, err);
}

static void answer_hold(struct request *rq, struct store *store, const char *what)
{
    struct error err = {0};
    struct holding h = {.named = json_array(), .not_on_record = json_array()};
    struct setup *setup = app_setup(rq->app);
    bool release = strcmp(what, "release") == 0;
    json_t *body = NULL, *answer = NULL;
    text_clip(what, h.entry.what, sizeof h.entry.what);
    h.entry.at_ms = app_now_ms(rq->app);
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_holding(setup, store, body, &h, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, hold_all, &h, &err);
    if (!rc) {
        answer = json_pack("{s:O, s:O}", release ? "released" : "held", h.named, "not_on_record",
                           h.not_on_record);
        if (h.disposition)
            json_object_set_new(answer, "disposition", json_string(h.disposition));
    }
    free(h.of);
    json_decref(h.named);
    json_decref(h.not_on_record);
    json_decref(body);
    setup_unref(setup);
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
