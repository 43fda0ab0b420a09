/* Lots on hold: the list of them, holds and their ends. */
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/uuid.h"
#include "base/words.h"
#include "desk/apart.h"
#include "desk/overheard.h"
#include "serve/app.h"
#include "serve/despite_told.h"
#include "serve/lot_named.h"
#include "serve/plant_asked.h"
#include "serve/route.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/lot_find.h"
#include "tell/hold_json.h"
#include <stdlib.h>
#include <string.h>

/* ---- the list ---- */

struct listing {
    struct store *store;
    const struct tz *tz;
    int64_t now_ms;
    json_t *list;
};

static int add_route(void *arg, const char *route, int64_t units)
{
    json_t *routes = arg;
    (void)units;
    return json_array_append_new(routes, json_string(route));
}

static void add_lot(const struct listing *l, const struct hold_row *row, json_t *item)
{
    char day[16];
    const struct tz *tz = tz_of(l->tz, row->plant);
    bool dated = row->code_day != WHEN_UNKNOWN_DAY;
    json_t *routes = json_array();
    if (row->lot_id)
        lot_find_routes(l->store, row->lot_id, add_route, routes, NULL);
    json_object_set_new(item, "units", json_integer(row->units));
    json_object_set_new(item, "in_code",
                        json_boolean(dated && row->code_day >= tz_day(tz, l->now_ms)));
    json_object_set_new(item, "code_date",
                        dated ? json_string(day_format(row->code_day, day)) : json_null());
    json_object_set_new(item, "on_record", json_boolean(row->lot_id > 0));
    json_object_set_new(item, "product", json_string(row->product));
    json_object_set_new(item, "line", json_string(row->line));
    plant_level_set(item, row->plant);
    json_object_set_new(item, "routes", routes);
}

static int list_row(void *arg, const struct hold_row *row)
{
    const struct listing *l = arg;
    const struct tz *tz = tz_of(l->tz, row->plant);
    json_t *item = hold_json(tz, row);
    int64_t age_days = tz_day(tz, l->now_ms) - tz_day(tz, row->at_ms);
    add_lot(l, row, item);
    json_object_set_new(item, "age_days", json_integer(age_days > 0 ? age_days : 0));
    json_array_append_new(l->list, item);
    return 0;
}

void holds_list(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct listing l = {store, setup->tz, app_now_ms(rq->app), json_array()};
    int rc = hold_each_standing(store, l.now_ms, list_row, &l, &err);
    request_reply_result(rq, rc, json_pack("{s:o}", "holds", l.list), &err);
    setup_unref(setup);
}

/* ---- what is asked for ---- */

struct holding {
    bool release;
    const char *reason, *by, *user;
    const char *anyway; /* of a release: although harm is open */
    int64_t case_id, at_ms;
    bool still_about;
    bool skip_gone;          /* lots of which nothing is left are told, not refused */
    const char *disposition; /* of a release */
    int64_t hold_id;
    bool all;
    const json_t *texts; /* the lots as named, borrowed of the request */
    struct hold_of *of;
    size_t count;
    bool *stood;                    /* of each: the same hold stood before */
    bool *elsewhere;                /* of each: another plant's, which who asks does not see */
    const char *plant_said;         /* of those that no lot bears; NULL */
    char (*plant)[LENGTH_CODE + 1]; /* of each: whose its hold is if no lot bears it */
    const struct seen_plants *seen; /* by who asks; NULL: all are */
    struct text_buffer *gone;       /* of each that was skipped: what came of it; else empty */
    struct despite_harm despite;
    struct text_buffer words; /* all texts of it */
    struct text_buffer where; /* they stand, with the lots if they are several */
    struct overheard heard;
};

static int read_lots(const struct request *rq, const struct setup *setup, struct store *store,
                     const json_t *body, struct holding *h, struct error *err)
{
    const json_t *lots = json_object_get(body, "lots");
    size_t i;
    const json_t *code;
    if (json_array_size(lots) == 0) {
        error_set(err, ERROR_INVALID, "must be a list of lot codes");
        error_field(err, "lots", "");
        return ERROR_INVALID;
    }
    h->texts = lots;
    h->of = xcalloc(json_array_size(lots), sizeof *h->of);
    h->stood = xcalloc(json_array_size(lots), sizeof *h->stood);
    h->elsewhere = xcalloc(json_array_size(lots), sizeof *h->elsewhere);
    h->gone = xcalloc(json_array_size(lots), sizeof *h->gone);
    h->plant = xcalloc(json_array_size(lots), sizeof *h->plant);
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
        int rc = lot_named(setup, store, text, h->at_ms, of, err);
        if (rc)
            return rc;
        h->elsewhere[h->count] = lot_named_elsewhere(setup, store, text, h->at_ms, of);
        if (h->release && h->elsewhere[h->count])
            return lot_named_refuse("lots", text, err);
        if (!of->lot_id && h->plant_said)
            text_clip(h->plant_said, h->plant[h->count], sizeof h->plant[0]);
        else if (!of->lot_id)
            lot_named_plant(rq, setup, store, text, h->case_id, h->plant[h->count]);
        h->count++;
    }
    return lot_named_whole(store, lots, h->of, err);
}

static int check_disposition(const char *word, struct error *err)
{
    struct text_buffer known = {0};
    if (words_has(WORDS_DISPOSITIONS, word))
        return 0;
    words_or(WORDS_DISPOSITIONS, &known);
    error_set(err, ERROR_INVALID, "must be %s", known.data);
    error_field(err, "disposition", word);
    text_buffer_free(&known);
    return ERROR_INVALID;
}

static int read_id(const json_t *body, const char *field, char letter, int64_t *ret,
                   struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_text(body, field, LENGTH_WORD, &text, err);
    if (rc || !text)
        return rc;
    if (short_id_parse(letter, text, ret))
        return 0;
    error_set(err, ERROR_INVALID, "must be a %s, as %c12", field, letter);
    error_field(err, field, text);
    return ERROR_INVALID;
}

/* A case, or that of a complaint; one that has moved is the one it moved to. */
static int read_case(struct store *store, const json_t *body, int64_t *ret, struct error *err)
{
    struct case_row row;
    const char *text = json_string_value(json_object_get(body, "case"));
    char uuid[UUID_TEXT];
    int rc = text && uuid_normalize(text, uuid) ? case_of_uuid(store, uuid, ret, err)
                                                : read_id(body, "case", SHORT_ID_CASE, ret, err);
    if (!rc && *ret)
        rc = case_get(store, *ret, &row, err);
    if (!rc && *ret)
        *ret = row.id;
    return rc;
}

static int read_release(const json_t *body, struct holding *h, struct error *err)
{
    int rc = jsonx_needed(body, "disposition", LENGTH_WORD, &h->disposition, err);
    if (!rc)
        rc = check_disposition(h->disposition, err);
    if (!rc)
        rc = read_id(body, "hold", SHORT_ID_HOLD, &h->hold_id, err);
    if (!rc)
        rc = jsonx_text(body, "anyway", LENGTH_REASON, &h->anyway, err);
    return rc ? rc : jsonx_bool(body, "all", &h->all, err);
}

static int read_hold(const json_t *body, struct holding *h, struct error *err)
{
    int rc = jsonx_bool(body, "still_about", &h->still_about, err);
    if (!rc)
        rc = jsonx_text(body, "plant", LENGTH_CODE, &h->plant_said, err);
    return rc ? rc : jsonx_bool(body, "skip_gone", &h->skip_gone, err);
}

static int read_holding(const struct request *rq, const struct setup *setup, struct store *store,
                        const json_t *body, struct holding *h, struct error *err)
{
    int rc = jsonx_needed(body, "reason", LENGTH_REASON, &h->reason, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &h->by, err);
    if (!rc)
        rc = request_decided(body, &h->at_ms, err);
    if (!rc)
        rc = read_case(store, body, &h->case_id, err);
    if (!rc)
        rc = h->release ? read_release(body, h, err) : read_hold(body, h, err);
    if (!rc && h->plant_said)
        rc = plant_asked_check(rq, setup, store, h->plant_said, err);
    return rc ? rc : read_lots(rq, setup, store, body, h, err);
}

/* A text as it is kept, mailed and shown: without contact data. NULL gives NULL. */
static char *told_text(const struct apart_from *from, const struct holding *h, const char *text)
{
    struct text_buffer codes = {0};
    char *reason = text ? xstrdup(text) : NULL;
    for (size_t i = 0; i < h->count; i++)
        text_appendf(&codes, "%s\n", h->of[i].code);
    for (size_t i = 0; i < h->count; i++) {
        const struct hold_of *of = &h->of[i];
        const struct apart_about about = {h->case_id, of->lot_id, codes.data,
                                          of->lot_id ? NULL : of->code};
        char *masked = apart_written(from, reason, &about);
        free(reason);
        reason = masked;
    }
    text_buffer_free(&codes);
    return reason;
}

/* ---- the record ---- */

static bool is_skipped(const struct holding *h, size_t i)
{
    return h->gone[i].length > 0;
}

/* What is left of them, all or none; where nothing of any is, nothing is held. */
static int skip_gone(struct store *store, struct holding *h, struct error *err)
{
    size_t skipped = 0;
    int rc = 0;
    for (size_t i = 0; i < h->count && !rc; i++) {
        text_buffer_free(&h->gone[i]); /* of an attempt before */
        rc = h->elsewhere[i] ? 0 : hold_gone(store, &h->of[i], &h->gone[i], err);
        skipped += is_skipped(h, i);
    }
    if (rc || skipped < h->count)
        return rc;
    error_set(err, ERROR_CONFLICT, "lot %.60s was %.160s%s; nothing was recorded", h->of[0].code,
              h->gone[0].data, skipped > 1 ? ", and nothing is left of the others" : "");
    error_field(err, "lots", h->of[0].code);
    error_hint(err, "if packs of it are still about, say so: --still-about");
    return ERROR_CONFLICT;
}

/* Of those that something is recorded of. */
static size_t first_of(const struct holding *h)
{
    size_t first = 0;
    while (first + 1 < h->count && is_skipped(h, first))
        first++;
    return first;
}

/* "the reason of a hold says so, of L1 6318 A0400, L2 6318 A0400 and 7 further lots": one mail
 * leaves, whose lot is the first of them. */
static const char *where_of(struct holding *h, const char *where)
{
    enum { NAMED_MOST = 20 };
    size_t named = 0, all = 0;
    text_reset(&h->where);
    text_append(&h->where, where);
    for (size_t i = 0; i < h->count; i++) {
        if (is_skipped(h, i))
            continue;
        all++;
        if (h->count > 1 && named < NAMED_MOST)
            text_appendf(&h->where, "%s%s", named++ ? ", " : ", of ", h->of[i].code);
    }
    if (named && all > named)
        text_appendf(&h->where, " and %zu further lots", all - named);
    return h->where.data;
}

/* Whoever gave it free all the same is mailed with the reason, then. */
static bool tells_harm(const json_t *found)
{
    size_t i;
    const json_t *item;
    json_array_foreach(found, i, item)
    {
        if (!json_object_get(item, "unfit"))
            return true;
    }
    return false;
}

/* Of no case it is about the lot, the first of them. Of a case, what its complaints do not tell is
 * put on record, whatever was mailed. */
static int hear(struct store *store, struct holding *h, const char *where, struct error *err)
{
    size_t first = first_of(h);
    h->heard.case_id = h->case_id;
    h->heard.lot_id = h->of[first].lot_id;
    h->heard.lot = h->case_id ? NULL : h->of[first].code;
    h->heard.plant = h->plant[first];
    h->heard.where = where_of(h, where);
    text_reset(&h->words);
    text_append(&h->words, h->reason);
    if (h->anyway && (h->case_id || !tells_harm(h->despite.found)))
        text_appendf(&h->words, "\n\n%s", h->anyway);
    overheard_add_name(h->heard.desk, h->by, &h->words);
    h->heard.told_before = h->heard.told_before && strcmp(h->words.data, h->reason) == 0;
    h->heard.why = (struct complaint_why){h->by, h->words.data, h->at_ms};
    return overheard_hear(store, &h->heard, err);
}

static int hold_all(struct store *store, void *arg, struct error *err)
{
    struct holding *h = arg;
    struct hold_entry own = {.reason = h->reason,
                             .by_name = h->by,
                             .user = h->user,
                             .case_id = h->case_id,
                             .at_ms = h->at_ms,
                             .still_about = h->still_about};
    struct hold_entry passed_on = own; /* whoever has the lot knows what is left of it */
    passed_on.case_id = 0;
    passed_on.still_about = true;
    seen_set(store, h->seen);
    int rc = h->skip_gone && !h->still_about ? skip_gone(store, h, err) : 0;
    for (size_t i = 0; i < h->count && !rc; i++) {
        own.plant = h->plant[i];
        if (!is_skipped(h, i))
            rc = hold_add(store, &h->of[i], h->elsewhere[i] ? &passed_on : &own, &h->stood[i], err);
    }
    seen_set(store, NULL);
    h->heard.told_before = h->stood[first_of(h)];
    return rc ? rc : hear(store, h, "the reason of a hold says so", err);
}

struct said_before {
    const char *text;
    bool is;
};

static int compare_words(void *arg, const struct hold_row *row)
{
    struct said_before *said = arg;
    said->is = said->is || strcmp(row->reason, said->text) == 0 ||
               strcmp(row->end_reason, said->text) == 0;
    return 0;
}

/* Of goods that nobody eats any more, the very words that a hold of each of them told. */
static int was_told(struct store *store, struct holding *h, struct error *err)
{
    int rc = 0;
    h->heard.told_before = strcmp(h->disposition, "destroy") == 0;
    for (size_t i = 0; i < h->count && !rc && h->heard.told_before; i++) {
        struct said_before said = {h->reason, false};
        rc = hold_each_of(store, &h->of[i], compare_words, &said, err);
        h->heard.told_before = said.is;
    }
    return rc;
}

static int end_all(struct store *store, void *arg, struct error *err)
{
    struct holding *h = arg;
    const struct hold_end end = {.id = h->hold_id,
                                 .case_id = h->case_id,
                                 .all = h->all,
                                 .disposition = h->disposition,
                                 .reason = h->reason,
                                 .by_name = h->by,
                                 .user = h->user,
                                 .at_ms = h->at_ms};
    seen_set(store, h->seen);
    int rc = was_told(store, h, err);
    for (size_t i = 0; i < h->count && !rc; i++)
        rc = hold_end(store, &h->of[i], &end, err);
    seen_set(store, NULL);
    if (!rc)
        rc = despite_harm_pass(store, &h->despite, err);
    return rc ? rc : hear(store, h, "the reason of ending a hold says so", err);
}

/* Of goods that are destroyed nobody eats: never refused. Reworked or diverted ones are eaten. */
static void prepare_release(const struct request *rq, const struct setup *setup, struct holding *h,
                            struct text_buffer *did)
{
    for (size_t i = 0; i < h->count; i++)
        text_appendf(did, "%s%s", i ? ", " : "", h->of[i].code);
    text_appendf(did, ": hold ended (%s)", h->disposition);
    h->despite = (struct despite_harm){.desk = &setup->desk,
                                       .did = did->data,
                                       .lots = h->of,
                                       .lot_count = h->count,
                                       .safer = strcmp(h->disposition, "destroy") == 0,
                                       .reworked = strcmp(h->disposition, "rework") == 0,
                                       .freed = strcmp(h->disposition, "release") == 0,
                                       .anyway = h->anyway,
                                       .by = h->by,
                                       .user = h->user,
                                       .now_ms = app_now_ms(rq->app)};
}

static bool is_this(const struct holding *h, const json_t *hold)
{
    const char *of_case = json_string_value(json_object_get(hold, "case"));
    const char *own_case = h->case_id ? CASE_ID(h->case_id) : "";
    return strcmp(json_string_value(json_object_get(hold, "reason")), h->reason) == 0 &&
           strcmp(json_string_value(json_object_get(hold, "by")), h->by) == 0 &&
           strcmp(of_case ? of_case : "", own_case) == 0;
}

/* After the commit: the other holds that stand on the lots. */
static json_t *others_json(struct store *store, const struct tz *tz, const struct holding *h)
{
    json_t *others = json_array(), *hold;
    for (size_t i = 0; i < h->count; i++) {
        if (h->elsewhere[i])
            continue;
        json_t *holds = hold_json_of(store, tz, &h->of[i]);
        size_t k;
        json_array_foreach(holds, k, hold)
        {
            if (h->release || !is_this(h, hold))
                json_array_append(others, hold);
        }
        json_decref(holds);
    }
    return others;
}

/* A code on no record may be a lot's on record, misread: named, and held by nobody's guess. What
 * cannot be read says nothing, since the hold stands. */
static void add_likely(const struct setup *setup, struct store *store, const struct holding *h,
                       size_t i, json_t *list)
{
    enum { NAMED_MOST = 5 };
    static const double WORTH_NAMING = 0.05;
    struct lot_match_result matched = {0};
    const struct lot_query query = {.lot_text = json_string_value(json_array_get(h->texts, i)),
                                    .code_day = WHEN_UNKNOWN_DAY,
                                    .bought_day = WHEN_UNKNOWN_DAY,
                                    .found_day = WHEN_UNKNOWN_DAY,
                                    .received_ms = h->at_ms,
                                    .tz = setup->tz,
                                    .settle_at = setup->desk.settle_at,
                                    .settle_of = setup->desk.settle_of};
    if (match_lot(setup->matcher, store, &query, &matched, NULL) != 0 ||
        matched.state == LOT_UNKNOWN || matched.state == LOT_NOT_ON_RECORD)
        return;
    size_t most = matched.state == LOT_SEVERAL ? NAMED_MOST : 1;
    for (size_t k = 0; k < matched.count && k < most; k++) {
        const struct lot_candidate *candidate = &matched.candidate[k];
        struct lot_find_row row;
        if (candidate->weight < WORTH_NAMING)
            break;
        if (lot_find_by_id(store, candidate->lot_id, &row, NULL) || !seen_plant(store, row.plant))
            continue;
        json_t *item = json_pack("{s:s, s:s, s:o}", "text", h->of[i].code, "lot", candidate->code,
                                 "weight", jsonx_rounded(candidate->weight, 4));
        hold_json_mark(store, setup->tz, candidate->lot_id, item);
        json_array_append_new(list, item);
    }
}

static json_t *likely_json(const struct setup *setup, struct store *store, const struct holding *h)
{
    json_t *list = json_array();
    for (size_t i = 0; i < h->count; i++) {
        if (!h->of[i].lot_id && !is_skipped(h, i))
            add_likely(setup, store, h, i, list);
    }
    return list;
}

static json_t *answer_json(const struct setup *setup, struct store *store, const struct holding *h)
{
    const struct tz *tz = setup->tz;
    json_t *named = json_array(), *not_on_record = json_array(), *stood = json_array();
    json_t *gone = json_array(), *passed_on = json_array();
    for (size_t i = 0; i < h->count; i++) {
        if (is_skipped(h, i)) {
            json_array_append_new(
                gone, json_pack("{s:s, s:s}", "lot", h->of[i].code, "came_of_it", h->gone[i].data));
            continue;
        }
        json_array_append_new(named, json_string(h->of[i].code));
        if (h->elsewhere[i])
            json_array_append_new(passed_on, json_string(h->of[i].code));
        if (!h->of[i].lot_id)
            json_array_append_new(not_on_record, json_string(h->of[i].code));
        if (h->stood[i])
            json_array_append_new(stood, json_string(h->of[i].code));
    }
    json_t *answer =
        json_pack("{s:o, s:o, s:o}", h->release ? "released" : "held", named, "not_on_record",
                  not_on_record, h->release ? "still_held" : "others", others_json(store, tz, h));
    if (h->release)
        json_object_set_new(answer, "disposition", json_string(h->disposition));
    else
        json_object_update_new(answer, json_pack("{s:O, s:o}", "already", stood, "likely",
                                                 likely_json(setup, store, h)));
    if (json_array_size(gone))
        json_object_set(answer, "gone", gone);
    if (json_array_size(passed_on))
        json_object_set(answer, "passed_on", passed_on);
    json_decref(passed_on);
    json_decref(gone);
    json_decref(stood);
    return answer;
}

static void answer_holding(struct request *rq, struct store *store, bool release)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct holding h = {.release = release,
                        .user = rq->user,
                        .at_ms = app_now_ms(rq->app),
                        .seen = rq->sees_all ? NULL : &rq->seen};
    struct text_buffer did = {0};
    h.heard.desk = &setup->desk;
    char *reason = NULL, *anyway = NULL;
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_holding(rq, setup, store, body, &h, &err);
    if (!rc) {
        const struct apart_from from = {&setup->desk, store};
        h.reason = reason = told_text(&from, &h, h.reason);
        h.anyway = anyway = told_text(&from, &h, h.anyway);
        if (release)
            prepare_release(rq, setup, &h, &did);
        rc = writer_run(rq->app->writer, release ? end_all : hold_all, &h, &err);
    }
    if (rc) {
        despite_told_refuse(rq, rc, &err, &h.despite);
    } else {
        json_t *answer = answer_json(setup, store, &h);
        despite_told_done(rq, store, &h.despite, answer);
        despite_told_heard(rq, store, &h.heard, answer);
        request_reply_json(rq, 200, answer);
    }
    json_decref(h.despite.found);
    json_decref(h.heard.harm);
    text_buffer_free(&h.words);
    text_buffer_free(&h.where);
    text_buffer_free(&did);
    free(h.of);
    free(h.stood);
    free(h.elsewhere);
    free(h.plant);
    for (size_t i = 0; i < h.count; i++)
        text_buffer_free(&h.gone[i]);
    free(h.gone);
    free(reason);
    free(anyway);
    json_decref(body);
    setup_unref(setup);
}

void holds_hold(struct request *rq, struct store *store)
{
    answer_holding(rq, store, false);
}

void holds_release(struct request *rq, struct store *store)
{
    answer_holding(rq, store, true);
}
