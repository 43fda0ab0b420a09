/* Cases: lists, rankings, their working, and verdicts. */
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/words.h"
#include "desk/apart.h"
#include "desk/case_asks.h"
#include "desk/following.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/lot_harm.h"
#include "desk/named.h"
#include "desk/overheard.h"
#include "lots/product_named.h"
#include "serve/app.h"
#include "serve/asked_product.h"
#include "serve/case_sheet.h"
#include "serve/case_told.h"
#include "serve/despite_told.h"
#include "serve/route.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/hold.h"
#include "store/lot_find.h"
#include "store/outbox.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LIST_MOST = 500 };

/* ---- the list ---- */

struct listing {
    struct store *store;
    struct setup *setup;
    const struct app *app;
    json_t *cases;
    int limit;
    bool more; /* than that */
    int64_t last;
};

/* What is on record of the lot; how sure it is goes with its name. */
static void add_lot(const struct listing *list, json_t *item, int64_t lot_id)
{
    struct lot_find_row lot;
    if (lot_id <= 0 || lot_find_by_id(list->store, lot_id, &lot, NULL))
        return;
    struct lot_find_product product;
    json_object_set_new(item, "product", json_string(lot.product));
    json_object_set_new(item, "line", json_string(lot.line));
    plant_level_set(item, lot.plant);
    if (lot_find_product_by_code(list->store, lot.product, &product, NULL) == 0)
        json_object_set_new(item, "name", json_string(product.name));
    json_object_set_new(item, "hold", json_boolean(hold_stands(list->store, lot_id)));
}

static int add_settled_on(void *arg, const struct verdict_row *row)
{
    return json_object_set_new(arg, "settled_on", json_string(row->cause));
}

static int list_row(void *arg, const struct case_row *row)
{
    struct listing *list = arg;
    char opened[40], as_of[40];
    const struct tz *tz = tz_of(list->setup->tz, row->plant);
    struct follow_row follow;
    list->more = (int)json_array_size(list->cases) == list->limit;
    if (list->more)
        return 0;
    json_t *item = json_pack("{s:s, s:s, s:i, s:i, s:s, s:s, s:s, s:b}", "case", CASE_ID(row->id),
                             "symptom", row->symptom, "complaints", row->complaints, "packs",
                             row->packs, "opened", when_format(tz, row->opened_ms, opened), "as_of",
                             when_format(tz, row->as_of_ms, as_of), "state",
                             row->settled ? "settled" : "open", "harm", row->harm);
    plant_level_set(item, row->plant);
    logged_case_json(&list->setup->desk, list->store, row->id, item, NULL);
    add_lot(list, item, row->lot_id);
    if (follow_get(list->store, row->id, &follow, NULL) == 0)
        following_case_json(&follow, row->harm, tz_day(tz, app_now_ms(list->app)), item);
    if (row->harm_unseen)
        json_object_set_new(item, "harm_since_settled", json_true());
    bool possible = case_may_harm(list->store, row);
    if (possible)
        json_object_set_new(item, "harm_possible", json_true());
    if (row->settled && !row->harm && !possible)
        verdict_of_case(list->store, row->id, add_settled_on, item, NULL);
    if (row->top_cause[0] && !row->harm && !possible) { /* beside harm no cause is named */
        json_object_set_new(item, "top",
                            json_pack("{s:s, s:s, s:f}", "cause", row->top_cause, "title",
                                      triage_cause_title(list->setup->triage, row->top_cause),
                                      "probability", row->top_probability));
    }
    json_array_append_new(list->cases, item);
    list->last = row->id;
    return 0;
}

/* A cause that no rule knows leads no case: then the word is wrong, not the list empty. */
static int read_cause(const struct request *rq, const struct setup *setup, const char **ret,
                      struct error *err)
{
    const char *cause = request_query(rq, "cause");
    *ret = cause;
    if (!cause || triage_cause_title(setup->triage, cause))
        return 0;
    error_set(err, ERROR_INVALID, "is not a cause");
    error_field(err, "cause", cause);
    triage_cause_hint(setup->triage, cause, "`oddloaf rules list` lists the causes", err);
    return ERROR_INVALID;
}

/* All that fit what was said are listed, and told. */
static int read_product(const struct request *rq, struct store *store, struct product_named *named,
                        struct case_filter *filter, struct error *err)
{
    int rc = asked_product(rq, store, named, err);
    if (!rc && named->family[0])
        filter->family = named->family;
    for (size_t i = 0; !rc && i < named->count && !filter->family; i++)
        filter->product[i] = named->row[i].product_id;
    return rc;
}

static json_t *products_json(const struct product_named *named)
{
    json_t *products = json_array();
    for (size_t i = 0; i < named->count && !named->family[0]; i++)
        json_array_append_new(products, json_pack("{s:s, s:s}", "product", named->row[i].product,
                                                  "name", named->row[i].name));
    return products;
}

static int read_filter(const struct request *rq, const struct setup *setup, const struct tz *tz,
                       struct case_filter *filter, struct error *err)
{
    const char *since = request_query(rq, "since"), *after = request_query(rq, "after");
    const char *symptom = NULL, *state = NULL, *order = NULL;
    int64_t limit = 50;
    int rc = request_query_within(rq, "limit", 1, LIST_MOST, &limit, err);
    if (!rc)
        rc = request_query_symptom(rq, &symptom, err);
    if (!rc)
        rc = request_query_among(rq, "state", WORDS_CASE_STATES, &state, err);
    if (!rc)
        rc = request_query_among(rq, "order", WORDS_CASE_ORDERS, &order, err);
    const char *cause = NULL;
    if (!rc)
        rc = read_cause(rq, setup, &cause, err);
    bool overdue = false;
    if (!rc)
        rc = request_query_flag(rq, "overdue", false, &overdue, err);
    if (rc)
        return rc;
    *filter = (struct case_filter){.symptom = symptom,
                                   .owner = request_query(rq, "owner"),
                                   .due_before = overdue ? tz_day(tz, app_now_ms(rq->app)) : 0,
                                   .line = request_query(rq, "line"),
                                   .cause = cause,
                                   .state = !state                      ? "open"
                                            : strcmp(state, "all") == 0 ? NULL
                                                                        : state,
                                   .since_ms = WHEN_UNKNOWN_MS,
                                   .urgent_first = order && strcmp(order, "urgent") == 0,
                                   .limit = (int)limit};
    if (since) {
        int32_t day;
        if (day_parse(since, &day, err)) {
            error_field(err, "since", since);
            return ERROR_INVALID;
        }
        filter->since_ms = tz_day_start_ms(tz, day);
    }
    if (after && *after && !short_id_parse(SHORT_ID_CASE, after, &filter->after)) {
        error_set(err, ERROR_INVALID, "must be a case");
        error_field(err, "after", after);
        return ERROR_INVALID;
    }
    return 0;
}

void cases_list(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct case_filter filter = {0};
    struct listing list = {
        .store = store, .setup = app_setup(rq->app), .app = rq->app, .cases = json_array()};
    struct product_named named;
    /* overdue, and since a day: of one plant by its own days, of several by the company's */
    const struct tz *tz =
        tz_of(list.setup->tz, rq->seen.count == 1 && !rq->sees_all ? rq->seen.plant[0] : "");
    int rc = read_filter(rq, list.setup, tz, &filter, &err);
    if (!rc)
        rc = read_product(rq, store, &named, &filter, &err);
    if (!rc) {
        list.limit = filter.limit++; /* one is read more than is told: is there any? */
        rc = case_list(store, &filter, list_row, &list, &err);
    }
    if (rc) {
        json_decref(list.cases);
        request_reply_error(rq, rc, &err);
    } else {
        json_t *next = list.more ? CASE_ID_JSON(list.last) : json_null();
        json_t *answer = json_pack("{s:o, s:o}", "cases", list.cases, "next", next);
        if (request_query(rq, "product"))
            json_object_set_new(answer, "products", products_json(&named));
        if (named.family[0])
            json_object_set_new(answer, "family", json_string(named.family));
        request_reply_json(rq, 200, answer);
    }
    setup_unref(list.setup);
}

/* ---- one case ---- */

/* Lock-outs and ovens are for the plant: who is the desk and no more sees the caller's cautions,
 * and harm before them. */
static void keep_desk_cautions(json_t *ranking)
{
    json_t *cautions = json_copy(json_object_get(ranking, "caller_cautions"));
    if (!cautions)
        cautions = json_array();
    if (json_is_true(json_object_get(ranking, "harm")) ||
        json_is_true(json_object_get(ranking, "harm_possible")))
        json_array_insert(cautions, 0, json_array_get(json_object_get(ranking, "cautions"), 0));
    json_object_set_new(ranking, "cautions", cautions);
}

/* Anew, or as it was when it left the house. */
void cases_rank(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *answer = NULL;
    int64_t id, revision = 0;
    struct setup *setup = app_setup(rq->app);
    int rc = request_query_within(rq, "revision", 1, INT_MAX, &revision, &err);
    if (!rc)
        rc = named_case(store, rq->part[0], &id, &err);
    if (!rc)
        rc = revision ? tell_kept(setup->triage, store, id, (int)revision, &answer, &err)
                      : case_told_json(setup, store, id, &answer, &err);
    if (!rc && !(rq->roles & ~(unsigned)ROLE_DESK))
        keep_desk_cautions(answer);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}

void cases_sheet(struct request *rq, struct store *store)
{
    struct error err = {0};
    char *html = NULL;
    int64_t id;
    int rc = named_case(store, rq->part[0], &id, &err);
    if (!rc)
        rc = case_sheet_html(rq->app, store, id, &html, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply(rq, 200, "text/html; charset=utf-8", html, strlen(html));
}

/* why, facts, ask and reach differ in the one call they make. */
typedef int (*case_question)(const struct desk *desk, struct store *store,
                             const struct tell_asked *asked, json_t **ret, struct error *err);

/* Its own lot's, where "lots" are others. */
static void add_candidates(const struct setup *setup, struct store *store, int64_t id,
                           json_t *answer)
{
    json_t *own = json_object();
    logged_case_json(&setup->desk, store, id, own, NULL);
    if (json_object_get(own, "lots"))
        json_object_set(answer, "candidates", json_object_get(own, "lots"));
    json_decref(own);
}

/* Before the causes of bread stands what it did to somebody who told of it in another case. */
static int add_harm_elsewhere(const struct desk *desk, struct store *store, int64_t id,
                              json_t *answer, struct error *err)
{
    struct case_row row;
    int rc = case_get(store, id, &row, err);
    return rc ? rc : lot_harm_json(desk, store, row.id, row.lot_id, answer, err);
}

static void answer_question(struct request *rq, struct store *store, case_question question,
                            const char *cause)
{
    struct error err = {0};
    json_t *answer = NULL;
    struct tell_asked asked = {.cause = cause, .now_ms = app_now_ms(rq->app)};
    struct setup *setup = app_setup(rq->app);
    int rc = named_case(store, rq->part[0], &asked.case_id, &err);
    if (!rc)
        rc = question(&setup->desk, store, &asked, &answer, &err);
    if (!rc)
        logged_case_json(&setup->desk, store, asked.case_id, answer, NULL);
    if (!rc)
        rc = add_harm_elsewhere(&setup->desk, store, asked.case_id, answer, &err);
    if (!rc && json_object_get(answer, "none_because"))
        add_candidates(setup, store, asked.case_id, answer);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}

static int why_question(const struct desk *desk, struct store *store,
                        const struct tell_asked *asked, json_t **ret, struct error *err)
{
    return tell_why(desk->triage, store, asked->case_id, asked->cause, ret, err);
}

static int reach_question(const struct desk *desk, struct store *store,
                          const struct tell_asked *asked, json_t **ret, struct error *err)
{
    return case_told_reach(desk, store, asked, ret, err);
}

static int ask_question(const struct desk *desk, struct store *store,
                        const struct tell_asked *asked, json_t **ret, struct error *err)
{
    return case_asks_json(desk, store, asked->case_id, ret, err);
}

static int facts_question(const struct desk *desk, struct store *store,
                          const struct tell_asked *asked, json_t **ret, struct error *err)
{
    return tell_facts(desk->triage, store, asked->case_id, ret, err);
}

void cases_why(struct request *rq, struct store *store)
{
    answer_question(rq, store, why_question, request_query(rq, "cause"));
}

void cases_facts(struct request *rq, struct store *store)
{
    answer_question(rq, store, facts_question, NULL);
}

void cases_ask(struct request *rq, struct store *store)
{
    answer_question(rq, store, ask_question, NULL);
}

void cases_reach(struct request *rq, struct store *store)
{
    answer_question(rq, store, reach_question, request_query(rq, "cause"));
}

/* ---- verdicts ---- */

struct settling {
    int64_t case_id, at_ms;
    const char *cause, *confirmed_by, *note, *by;
    bool reopen;
    struct despite_harm despite;
    struct text_buffer words; /* all texts of it */
    struct overheard heard;
};

/* Why it was settled although harm is open, too: that may be mailed, and is on no record. */
static int hear(struct store *store, struct settling *s, const char *where, struct error *err)
{
    text_reset(&s->words);
    text_append(&s->words, s->note ? s->note : "");
    if (s->despite.anyway)
        text_appendf(&s->words, "\n\n%s", s->despite.anyway);
    overheard_add_name(s->despite.desk, s->by, &s->words);
    s->heard.desk = s->despite.desk;
    s->heard.case_id = s->case_id;
    s->heard.where = where;
    s->heard.why = (struct complaint_why){s->by, s->words.data, s->despite.now_ms};
    return overheard_hear(store, &s->heard, err);
}

/* What the verdict closed is said anew: heard before the case is open again, and carries it. */
static int reopen(struct store *store, struct settling *s, struct error *err)
{
    int rc = hear(store, s, "the note of a case that is reopened says so", err);
    if (!rc)
        rc = verdict_reopen(store, s->case_id, s->note, s->by, s->at_ms, err);
    return rc ? rc : following_reopened(s->despite.desk, store, s->case_id, s->at_ms, err);
}

/* What the note says of harm is news beside what the case carried; the verdict does not close it.
 */
static int settle_hearing(struct store *store, struct settling *s,
                          const struct verdict_new *verdict, struct error *err)
{
    int rc = hear(store, s, "the note of a verdict says so", err);
    if (!rc)
        rc = verdict_add(store, verdict, err);
    return rc || !s->heard.mailed ? rc : case_flag_harm(store, s->case_id, err);
}

/* Harm is looked for before: a verdict closes it. */
static int settle(struct store *store, void *arg, struct error *err)
{
    struct settling *s = arg;
    if (s->reopen)
        return reopen(store, s, err);
    const struct verdict_new verdict = {.case_id = s->case_id,
                                        .at_ms = s->at_ms,
                                        .cause = s->cause,
                                        .confirmed_by = s->confirmed_by,
                                        .note = s->note,
                                        .by_name = s->by};
    int rc = despite_harm_pass(store, &s->despite, err);
    if (!rc) /* what waits was said before it */
        rc = outbox_gathered_now(store, s->case_id, s->despite.now_ms, err);
    return rc ? rc : settle_hearing(store, s, &verdict, err);
}

static int read_settling(const json_t *body, const struct setup *setup, const char *symptom,
                         struct settling *s, struct error *err)
{
    int rc = jsonx_bool(body, "reopen", &s->reopen, err);
    if (!rc)
        rc = request_decided(body, &s->at_ms, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &s->by, err);
    if (!rc)
        rc = jsonx_text(body, "note", LENGTH_NOTE, &s->note, err);
    if (rc || s->reopen)
        return rc;
    rc = jsonx_text(body, "anyway", LENGTH_REASON, &s->despite.anyway, err);
    if (!rc)
        rc = jsonx_needed(body, "cause", LENGTH_PERSON, &s->cause, err);
    if (!rc)
        rc = jsonx_needed(body, "confirmed_by", LENGTH_PERSON, &s->confirmed_by, err);
    if (rc)
        return rc;
    bool unranked = strcmp(symptom, "other") == 0 && strcmp(s->cause, "not-known") == 0;
    if (!unranked && !triage_cause_of(setup->triage, s->cause, symptom)) {
        error_set(err, ERROR_INVALID, "is not a cause of %s", symptom);
        error_field(err, "cause", s->cause);
        triage_cause_hint(setup->triage, s->cause, "`oddloaf rules list` names them", err);
        return ERROR_INVALID;
    }
    if (words_has(WORDS_CONFIRMED_BY, s->confirmed_by))
        return 0;
    struct text_buffer known = {0};
    words_or(WORDS_CONFIRMED_BY, &known);
    error_set(err, ERROR_INVALID, "must be %s", known.data);
    text_buffer_free(&known);
    error_field(err, "confirmed_by", s->confirmed_by);
    return ERROR_INVALID;
}

static void prepare_verdict(const struct request *rq, const struct setup *setup, struct settling *s,
                            char *did, size_t size)
{
    snprintf(did, size, "settled (%s)", s->cause ? s->cause : "");
    s->despite.desk = &setup->desk;
    s->despite.did = did;
    s->despite.case_id = s->case_id;
    s->despite.by = s->by;
    s->despite.user = rq->user;
    s->despite.now_ms = app_now_ms(rq->app);
}

static json_t *verdict_json(const struct settling *s)
{
    json_t *answer = json_pack("{s:s, s:s}", "case", CASE_ID(s->case_id), "state",
                               s->reopen ? "open" : "settled");
    if (!s->reopen)
        json_object_set_new(answer, "cause", json_string(s->cause));
    return answer;
}

void cases_verdict(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct settling s = {.at_ms = app_now_ms(rq->app)};
    struct case_row row;
    char *note = NULL, *anyway = NULL, did[LENGTH_PERSON + 16];
    json_t *body = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = named_case(store, rq->part[0], &s.case_id, &err);
    if (!rc)
        rc = case_get(store, s.case_id, &row, &err);
    if (!rc)
        rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_settling(body, setup, row.symptom, &s, &err);
    if (!rc) {
        const struct apart_from from = {&setup->desk, store};
        const struct apart_about about = {.case_id = s.case_id, .lot_id = row.lot_id};
        s.note = note = apart_written(&from, s.note, &about);
        s.despite.anyway = anyway = apart_written(&from, s.despite.anyway, &about);
        prepare_verdict(rq, setup, &s, did, sizeof did);
        rc = writer_run(rq->app->writer, settle, &s, &err);
    }
    if (rc) {
        despite_told_refuse(rq, rc, &err, &s.despite);
    } else {
        json_t *answer = verdict_json(&s);
        despite_told_done(rq, store, &s.despite, answer);
        despite_told_heard(rq, store, &s.heard, answer);
        request_reply_json(rq, 200, answer);
    }
    free(note);
    free(anyway);
    text_buffer_free(&s.words);
    json_decref(s.despite.found);
    json_decref(s.heard.harm);
    json_decref(body);
    setup_unref(setup);
}
