/* POST /v1/lots/measure: results of a laboratory or a retained sample of one lot, and what they
 * change at the top of the cases about it. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/tz_of.h"
#include "desk/apart.h"
#include "desk/lab_row.h"
#include "desk/measuring.h"
#include "desk/overheard.h"
#include "serve/app.h"
#include "serve/lot_named.h"
#include "serve/route.h"
#include "store/case.h"
#include "store/company_count.h"
#include "store/lot_find.h"
#include "store/record_find.h"
#include "store/work.h"
#include "tell/measured_json.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RESULTS_MOST = 50, CASES_TOLD = 20, AHEAD_MS = 3600000 };

struct one {
    struct measuring m;
    enum measured_outcome outcome;
    char was[MEASURING_SAID + 1];
};

struct measures {
    struct setup *setup;
    struct hold_of lot;
    struct evidence_lot record;
    char *lab, *sample, *method, *note, *reason; /* without contact data; NULL: not given */
    const char *by, *user;
    int64_t case_id, at_ms, now_ms;
    struct one *ones;
    int count;
    json_t *faults;
    int64_t case_ids[CASES_TOLD];
    bool changed; /* anything */
    struct store_ids cases;
    json_t *tops[CASES_TOLD]; /* of them, before */
    struct overheard heard;   /* of harm in the note or the reason */
    bool heard_own;           /* of a case of the lot's own */
    struct text_buffer words;
    struct text_buffer sentences; /* of them, without results and method */
};

static void clear(struct measures *x)
{
    free(x->lab);
    free(x->sample);
    free(x->method);
    free(x->note);
    free(x->reason);
    free(x->ones);
    json_decref(x->faults);
    json_decref(x->heard.harm);
    text_buffer_free(&x->words);
    text_buffer_free(&x->sentences);
    for (int i = 0; i < CASES_TOLD; i++)
        json_decref(x->tops[i]);
    setup_unref(x->setup);
}

/* ---- what is asked for ---- */

static int find_lot(struct measures *x, struct store *store, const json_t *body, struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_needed(body, "lot", sizeof x->lot.code - 1, &text, err);
    if (!rc)
        rc = lot_named(x->setup, store, text, x->now_ms, &x->lot, err);
    if (!rc && lot_named_elsewhere(x->setup, store, text, x->now_ms, &x->lot))
        return lot_named_refuse("lot", text, err);
    if (!rc && !x->lot.lot_id) {
        error_set(err, ERROR_NOT_FOUND, "no record bears lot %.60s; nothing was recorded",
                  x->lot.code);
        error_field(err, "lot", text);
        error_hint(err, "`oddloaf lot CODE` shows what a code may be; a result is of a lot that is "
                        "loaded");
        return ERROR_NOT_FOUND;
    }
    return rc ? rc : evidence_lot(store, x->lot.lot_id, &x->record, err);
}

static int find_case(struct measures *x, struct store *store, const json_t *body, struct error *err)
{
    const char *text = NULL;
    struct case_row row;
    int rc = jsonx_text(body, "case", LENGTH_WORD, &text, err);
    if (rc || !text)
        return rc;
    if (!short_id_parse(SHORT_ID_CASE, text, &x->case_id)) {
        error_set(err, ERROR_INVALID, "must be a case, as C12");
        error_field(err, "case", text);
        return ERROR_INVALID;
    }
    rc = case_get(store, x->case_id, &row, err);
    if (!rc && row.lot_id && row.lot_id != x->lot.lot_id) {
        error_set(err, ERROR_CONFLICT, "case %s is about another lot; nothing was recorded",
                  CASE_ID(row.id));
        error_field(err, "case", text);
        return ERROR_CONFLICT;
    }
    if (!rc)
        x->case_id = row.id;
    return rc;
}

/* Noon of a day, or later where the lot was packed later on it, and never ahead. */
static int64_t day_ms(const struct measures *x, int32_t day)
{
    const struct tz *tz = tz_of(x->setup->tz, x->record.plant);
    int64_t packed_ms = x->record.packed_to_ms, ms = tz_day_start_ms(tz, day) + WHEN_DAY_MS / 2;
    if (ms < packed_ms && tz_day(tz, packed_ms) == day)
        ms = packed_ms;
    return ms > x->now_ms && tz_day(tz, x->now_ms) == day ? x->now_ms : ms;
}

/* An instant, or a day. */
static int read_at(struct measures *x, const json_t *body, struct error *err)
{
    const char *text = NULL;
    int32_t day;
    x->at_ms = WHEN_UNKNOWN_MS;
    int rc = jsonx_text(body, "at", LENGTH_WORD, &text, err);
    if (rc || !text)
        return rc;
    if (day_parse(text, &day, NULL) == 0) {
        x->at_ms = day_ms(x, day);
    } else if ((rc = when_parse(text, &x->at_ms, err))) {
        error_field(err, "at", text);
        return rc;
    }
    if (x->at_ms > x->now_ms + AHEAD_MS) {
        error_set(err, ERROR_INVALID, "lies ahead");
        error_field(err, "at", text);
        return ERROR_INVALID;
    }
    return 0;
}

struct text_row {
    const char *name;
    size_t most;
    bool needed;
};

/* As it is kept and shown: without contact data. Digits of a lot's code or a sample's number are no
 * telephone's. */
static int read_text(struct measures *x, struct store *store, const json_t *body,
                     const struct text_row *text, char **ret, struct error *err)
{
    const char *said = NULL;
    struct text_buffer codes = {0};
    int rc = text->needed ? jsonx_needed(body, text->name, text->most, &said, err)
                          : jsonx_text(body, text->name, text->most, &said, err);
    if (rc || !said)
        return rc;
    const char *sample = json_string_value(json_object_get(body, "sample"));
    text_appendf(&codes, "%s\n%s\n", x->lot.code, sample ? sample : "");
    const struct apart_about about = {x->case_id, x->lot.lot_id, codes.data, NULL};
    *ret = apart_written(&(struct apart_from){&x->setup->desk, store}, said, &about);
    text_buffer_free(&codes);
    return 0;
}

static int read_texts(struct measures *x, struct store *store, const json_t *body,
                      struct error *err)
{
    static const struct text_row TEXTS[] = {{"lab", LENGTH_PERSON, true},
                                            {"sample", LENGTH_CODE, true},
                                            {"method", LENGTH_REASON, false},
                                            {"note", LENGTH_NOTE, false},
                                            {"reason", LENGTH_REASON, false}};
    char **const into[] = {&x->lab, &x->sample, &x->method, &x->note, &x->reason};
    int rc = 0;
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0] && !rc; i++)
        rc = read_text(x, store, body, &TEXTS[i], into[i], err);
    text_appendf(&x->sentences, "%s\n\n%s", x->note ? x->note : "", x->reason ? x->reason : "");
    if (x->note || x->reason)
        text_append(&x->words, x->sentences.data);
    if (x->method) {
        text_append(&x->words, "\n\n");
        lab_row_tells(x->setup->desk.harm, "method", strlen("method"), x->method, strlen(x->method),
                      &x->words);
    }
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &x->by, err);
    const char *const names[] = {x->lab, x->sample, x->by};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        overheard_add_name(&x->setup->desk, names[i], &x->words);
    return rc;
}

/* ---- the results ---- */

static int fault(struct measures *x, int rc, const struct error *why, struct error *err)
{
    json_array_append_new(x->faults, json_pack("{s:s, s:s, s:s}", "field", why->field, "value",
                                               why->value, "reason", why->text));
    if (!err->code)
        *err = *why;
    return rc;
}

static bool is_twice(const struct measures *x, const char *quantity)
{
    for (int i = 0; i < x->count; i++)
        if (strcmp(x->ones[i].m.quantity, quantity) == 0)
            return true;
    return false;
}

static int read_one(struct measures *x, const json_t *item, struct error *err)
{
    struct measuring m;
    const char *name = json_string_value(json_object_get(item, "quantity"));
    const json_t *value = json_object_get(item, "value");
    int rc =
        measuring_read(x->setup->triage, name ? name : "", value ? value : json_null(), &m, err);
    if (!rc && *m.said)
        rc = measuring_check(&m, &x->record, x->setup->tz,
                             x->at_ms == WHEN_UNKNOWN_MS ? x->now_ms : x->at_ms, err);
    if (!rc && is_twice(x, m.quantity)) {
        rc = error_set(err, ERROR_INVALID, "is there twice");
        error_field(err, m.quantity, m.said);
    }
    if (!rc && !*m.said && (!x->reason || !*x->reason)) {
        rc = error_set(err, ERROR_INVALID, "a result is taken back with a reason");
        error_field(err, "reason", "");
    }
    if (!rc)
        x->ones[x->count++] = (struct one){.m = m};
    return rc;
}

static void add_result_words(struct measures *x, const struct measuring *m, const char *said)
{
    struct text_buffer tells = {0};
    if (lab_row_result(x->setup->desk.harm, m->known ? "" : m->quantity, said, &tells))
        text_appendf(&x->words, "\n\n%s", tells.data);
    text_buffer_free(&tells);
}

static int read_results(struct measures *x, struct store *store, const json_t *body,
                        struct error *err)
{
    const json_t *list = json_object_get(body, "results"), *item;
    const struct apart_about about = {.case_id = x->case_id, .lot_id = x->lot.lot_id};
    size_t i;
    int rc = 0;
    if (json_array_size(list) == 0 || json_array_size(list) > RESULTS_MOST) {
        error_set(err, ERROR_INVALID, "must be a list of 1 to %d results", RESULTS_MOST);
        error_field(err, "results", "");
        return ERROR_INVALID;
    }
    x->ones = xcalloc(json_array_size(list), sizeof *x->ones);
    json_array_foreach(list, i, item)
    {
        struct error why = {0};
        int one = read_one(x, item, &why);
        if (one)
            rc = fault(x, one, &why, err);
    }
    for (int k = 0; k < x->count && !rc; k++) {
        char *said =
            apart_written(&(struct apart_from){&x->setup->desk, store}, x->ones[k].m.said, &about);
        if (isnan(x->ones[k].m.value)) {
            text_clip(said, x->ones[k].m.said, sizeof x->ones[k].m.said);
            add_result_words(x, &x->ones[k].m, said);
        }
        free(said);
    }
    return rc;
}

static int read_body(struct measures *x, struct store *store, const json_t *body, struct error *err)
{
    int rc = find_lot(x, store, body, err);
    if (!rc)
        rc = find_case(x, store, body, err);
    if (!rc)
        rc = read_at(x, body, err);
    if (!rc)
        rc = read_texts(x, store, body, err);
    return rc ? rc : read_results(x, store, body, err);
}

/* ---- the record ---- */

static int take_was(void *arg, const struct measured_row *row)
{
    struct one *one = arg;
    text_clip(row->said, one->was, sizeof one->was);
    return 0;
}

static struct measured_row row_of(const struct measures *x, const struct one *one)
{
    return (struct measured_row){.lot_id = x->lot.lot_id,
                                 .quantity = one->m.quantity,
                                 .lab = x->lab,
                                 .sample = x->sample,
                                 .said = one->m.said,
                                 .value = one->m.value,
                                 .unit = one->m.unit,
                                 .word = one->m.word,
                                 .method = x->method,
                                 .note = x->note,
                                 .at_ms = x->at_ms,
                                 .case_id = x->case_id,
                                 .by_name = x->by,
                                 .user = x->user,
                                 .logged_ms = x->now_ms,
                                 .reason = x->reason};
}

static int put_one(struct measures *x, struct store *store, struct one *one, struct error *err)
{
    const struct measured_row row = row_of(x, one);
    int rc = measured_find(store, &row, take_was, one, err);
    if (rc)
        return rc;
    if (*one->m.said)
        return measured_put(store, &row, &one->outcome, err);
    one->outcome = MEASURED_TAKEN_BACK;
    return measured_take_back(store, &row, err);
}

/* Of lots that are held against it. */
static int rank_others(const struct measures *x, struct store *store, struct error *err)
{
    struct lot_find_row lot;
    int rc = lot_find_by_id(store, x->lot.lot_id, &lot, err);
    return rc ? rc
              : work_add(store, WORK_SINCE, lot.packed_from_ms / WHEN_DAY_MS - 1, x->now_ms, err);
}

static int hear(const struct measures *x, struct store *store, int64_t case_id,
                struct overheard *ret, struct error *err)
{
    *ret = (struct overheard){.desk = &x->setup->desk,
                              .case_id = case_id,
                              .lot_id = x->lot.lot_id,
                              .lot = x->lot.code,
                              .told_before = !x->changed,
                              .where = "a laboratory's result of the lot says so",
                              .why = {x->by, x->words.data, x->now_ms},
                              .sentences = x->sentences.data};
    return overheard_hear(store, ret, err);
}

struct hearing {
    struct measures *x;
    struct store *store;
    struct error *err;
    int cases;
};

/* What is told: of one that is the lot's own, if any is, and of those of one that was news. */
static int hear_one(void *arg, int64_t case_id, bool own)
{
    struct hearing *h = arg;
    struct measures *x = h->x;
    struct overheard other = x->heard, one;
    int rc = hear(x, h->store, case_id, &one, h->err);
    bool news = !other.mailed && (one.mailed || !other.harm);
    bool told = own == x->heard_own ? news : own && one.harm;
    x->heard_own = told ? own : x->heard_own;
    x->heard = told ? one : other;
    json_decref(told ? other.harm : one.harm);
    h->cases++;
    return rc;
}

/* Of the case it was measured for, or else of all about the lot, or of the lot alone. */
static int hear_all(struct measures *x, struct store *store, struct error *err)
{
    struct hearing h = {x, store, err, 0};
    json_decref(x->heard.harm); /* of a job that was rolled back and runs again */
    x->heard = (struct overheard){0};
    x->heard_own = false;
    int rc = x->case_id ? 0 : record_find_cases(store, x->lot.lot_id, hear_one, &h, err);
    return rc || h.cases ? rc : hear(x, store, x->case_id, &x->heard, err);
}

/* Cases are ranked again in the same commit's work; rankers' caches are dated by it. */
static int put_all(struct store *store, void *arg, struct error *err)
{
    struct measures *x = arg;
    int rc = 0;
    for (int i = 0; i < x->count && !rc; i++) {
        rc = put_one(x, store, &x->ones[i], err);
        x->changed = x->changed || x->ones[i].outcome != MEASURED_SAME;
    }
    if (!rc && x->changed)
        rc = record_find_touch_lot(store, x->lot.lot_id, x->now_ms, err);
    if (!rc && x->changed)
        rc = rank_others(x, store, err);
    if (!rc && x->changed)
        rc = company_count_records_changed(store, err);
    return rc ? rc : hear_all(x, store, err);
}

/* ---- the answer ---- */

/* {"cause","title","probability"} of the first; beside harm no cause is named: null. */
static json_t *top_of(const struct measures *x, struct store *store, int64_t case_id,
                      json_t *cautions)
{
    json_t *told = NULL, *top = json_null();
    if (tell_brief(x->setup->triage, store, case_id, &told, NULL))
        return top;
    bool harm = json_is_true(json_object_get(told, "harm")) ||
                json_is_true(json_object_get(told, "harm_possible"));
    const json_t *first = json_array_get(json_object_get(told, "ranked"), 0);
    if (!harm && first)
        top = json_pack("{s:O, s:O, s:O}", "cause", json_object_get(first, "cause"), "title",
                        json_object_get(first, "title"), "probability",
                        json_object_get(first, "probability"));
    tell_cautions(x->setup->triage, json_string_value(json_object_get(told, "symptom")), cautions);
    json_decref(told);
    return top;
}

static int take_case(void *arg, int64_t case_id, bool own)
{
    struct store_ids *cases = arg;
    (void)own;
    cases->id[cases->count++] = case_id;
    return cases->count < cases->capacity ? 0 : 1;
}

static void look_before(struct measures *x, struct store *store)
{
    x->cases = (struct store_ids){x->case_ids, 0, CASES_TOLD};
    if (record_find_cases(store, x->lot.lot_id, take_case, &x->cases, NULL) < 0)
        x->cases.count = 0;
    json_t *unread = json_array();
    for (int i = 0; i < x->cases.count; i++)
        x->tops[i] = top_of(x, store, x->case_ids[i], unread);
    json_decref(unread);
}

/* What stands first now, and stood first before. */
static json_t *cases_json(const struct measures *x, struct store *store, json_t *cautions)
{
    json_t *list = json_array();
    for (int i = 0; i < x->cases.count && x->changed; i++) {
        json_t *is = top_of(x, store, x->case_ids[i], cautions);
        bool other =
            !json_equal(json_object_get(x->tops[i], "cause"), json_object_get(is, "cause"));
        json_array_append_new(list,
                              json_pack("{s:s, s:O, s:o, s:b}", "case", CASE_ID(x->case_ids[i]),
                                        "was", x->tops[i], "is", is, "changed", other));
    }
    return list;
}

struct finding {
    const struct measures *x;
    const char *like;
    json_t *one;
};

static int found(void *arg, const struct measured_row *row)
{
    struct finding *f = arg;
    const struct measures *x = f->x;
    f->one = measured_json(triage_of(x->setup->triage, x->record.plant),
                           tz_of(x->setup->tz, x->record.plant), row);
    return 0;
}

static json_t *nearest_json(const struct measures *x, const char *quantity)
{
    const char *names[CATALOGUE_NEAREST];
    json_t *list = json_array();
    int count = catalogue_nearest(triage_catalogue(x->setup->triage), quantity, names);
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_string(names[i]));
    return list;
}

static json_t *result_json(const struct measures *x, struct store *store, const struct one *one)
{
    static const char *const OUTCOMES[] = {[MEASURED_SAME] = "same",
                                           [MEASURED_NEW] = "new",
                                           [MEASURED_CORRECTED] = "corrected",
                                           [MEASURED_TAKEN_BACK] = "taken back"};
    const struct measured_row key = row_of(x, one);
    struct finding f = {x, one->m.like, NULL};
    measured_find(store, &key, found, &f, NULL);
    json_t *item = f.one ? f.one : json_pack("{s:s}", "quantity", one->m.quantity);
    json_object_set_new(item, "outcome", json_string(OUTCOMES[one->outcome]));
    json_object_set_new(item, "was", *one->was ? json_string(one->was) : json_null());
    if (one->m.known && *one->m.said)
        json_object_set_new(item, "mute",
                            json_boolean(measured_json_mute(x->setup->triage, store, x->lot.lot_id,
                                                            one->m.quantity)));
    if (!one->m.known && *one->m.said) {
        json_object_set_new(item, "like", one->m.like ? json_string(one->m.like) : json_null());
        json_object_set_new(item, "nearest", nearest_json(x, one->m.quantity));
    }
    return item;
}

static json_t *answer_json(const struct measures *x, struct store *store)
{
    json_t *results = json_array(), *cautions = json_array();
    for (int i = 0; i < x->count; i++)
        json_array_append_new(results, result_json(x, store, &x->ones[i]));
    json_t *cases = cases_json(x, store, cautions);
    return json_pack("{s:s, s:s, s:s, s:o, s:o, s:o, s:o*}", "lot", x->lot.code, "lab", x->lab,
                     "sample", x->sample, "results", results, "cases", cases, "cautions", cautions,
                     "heard", overheard_json(store, &x->heard, false));
}

void measures_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct measures x = {.setup = app_setup(rq->app),
                         .user = rq->user,
                         .now_ms = app_now_ms(rq->app),
                         .faults = json_array()};
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_body(&x, store, body, &err);
    if (!rc) {
        look_before(&x, store);
        rc = writer_run(rq->app->writer, put_all, &x, &err);
    }
    if (rc) {
        request_reply_faults(rq, rc, &err, x.faults, NULL);
    } else {
        app_wake(rq->app);
        request_reply_json(rq, 200, answer_json(&x, store));
    }
    json_decref(body);
    clear(&x);
}
