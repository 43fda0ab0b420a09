/* Following cases up: what is on record of one, what is changed, who is to be called back. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/words.h"
#include "desk/apart.h"
#include "desk/call_backs.h"
#include "desk/following.h"
#include "desk/named.h"
#include "desk/overheard.h"
#include "serve/app.h"
#include "serve/route.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { LIST_MOST = 500 };

static bool is_desk_alone(const struct request *rq)
{
    return !(rq->roles & ~(unsigned)ROLE_DESK);
}

static struct following_view view_of(const struct request *rq)
{
    return (struct following_view){.now_ms = app_now_ms(rq->app),
                                   .shown = (rq->roles & ROLE_DESK) != 0,
                                   .plain = is_desk_alone(rq)};
}

void follow_get_case(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *answer = NULL;
    int64_t id = 0;
    const struct following_view view = view_of(rq);
    struct setup *setup = app_setup(rq->app);
    int rc = named_case(store, rq->part[0], &id, &err);
    if (!rc)
        rc = following_json(&setup->desk, store, id, &view, &answer, &err);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}

/* ---- who is to be called back ---- */

void follow_call_backs(struct request *rq, struct store *store)
{
    struct error err = {0};
    json_t *list = NULL, *lost = NULL;
    int64_t limit = LIST_MOST, count = 0;
    struct setup *setup = app_setup(rq->app);
    const char *plant = rq->seen.count == 1 && !rq->sees_all ? rq->seen.plant[0] : "";
    const struct call_backs_view view = {tz_day(tz_of(setup->tz, plant), app_now_ms(rq->app)),
                                         (rq->roles & ROLE_DESK) != 0};
    int rc = request_query_within(rq, "limit", 1, LIST_MOST, &limit, &err);
    const struct call_back_query query = {0, WHEN_UNKNOWN_DAY, (int)limit};
    if (!rc)
        rc = call_back_count(store, WHEN_UNKNOWN_DAY, NULL, &count, &err);
    if (!rc)
        rc = call_backs_json(&setup->desk, store, &query, &view, &list, &err);
    if (!rc)
        rc = call_backs_lost_json(store, (int)limit, &lost, &err);
    request_reply_result(rq, rc,
                         json_pack("{s:o*, s:I, s:o*}", "call_backs", list, "waiting",
                                   (json_int_t)count, "unreachable", lost),
                         &err);
    setup_unref(setup);
}

/* ---- what is asked for ---- */

struct asked {
    struct setup *setup;
    struct case_row row;
    struct following_change change;
    char report[UUID_TEXT];
    char *texts[4]; /* without contact data; owned */
    int text_count;
    struct overheard heard;
    struct text_buffer words; /* all texts: read as one */
};

static int change_job(struct store *store, void *arg, struct error *err)
{
    struct asked *asked = arg;
    const struct following_change *change = &asked->change;
    const struct following_who *who = &change->who;
    asked->heard.desk = &asked->setup->desk;
    asked->heard.case_id = asked->row.id;
    asked->heard.report = change->report && *change->report ? change->report : NULL;
    asked->heard.where = "what was noted of the case says so";
    asked->heard.why = (struct complaint_why){who->by, asked->words.data, who->at_ms};
    int rc = following_change(&asked->setup->desk, store, change, err);
    return rc ? rc : overheard_hear(store, &asked->heard, err);
}

static int refuse(struct error *err, const char *field, const char *value, const char *reason)
{
    error_set(err, ERROR_INVALID, "%s", reason);
    error_field(err, field, value ? value : "");
    return ERROR_INVALID;
}

/* A mistyped member would change nothing and say nothing. */
static int check_names(const struct request *rq, const json_t *body, struct error *err)
{
    static const char ALL[] = "by owner due severity reason note call_back why answered answered_at"
                              " complaint";
    static const char QA[] = "owner due severity";
    const char *name;
    json_t *value;
    bool anything = false;
    json_object_foreach((json_t *)body, name, value)
    {
        if (!words_has(ALL, name))
            return refuse(err, name, NULL, "is nothing that a case is followed up by");
        if (words_has(QA, name) && !(rq->roles & ROLE_QA)) {
            error_field(err, name, NULL);
            return error_set(err, ERROR_DENIED, "owner, day and severity are QA's to set");
        }
        anything = anything || words_has("owner due severity note call_back answered", name);
    }
    return anything ? 0
                    : refuse(err, "note", NULL,
                             "nothing is asked for: owner, due, severity, note, call_back or "
                             "answered");
}

static const char *told(struct asked *asked, struct store *store, const char *text)
{
    const struct apart_about about = {.case_id = asked->row.id, .lot_id = asked->row.lot_id};
    assert(asked->text_count < (int)(sizeof asked->texts / sizeof asked->texts[0]));
    char *kept = apart_written(&(struct apart_from){&asked->setup->desk, store}, text, &about);
    text_appendf(&asked->words, "%s%s", asked->text_count ? "\n\n" : "", kept);
    return asked->texts[asked->text_count++] = kept;
}

static int read_text(struct asked *asked, struct store *store, const json_t *body, const char *name,
                     const char **ret, struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_text(body, name, LENGTH_NOTE, &text, err);
    if (!rc && text && !*text)
        rc = refuse(err, name, text, "says nothing");
    if (!rc && text)
        *ret = told(asked, store, text);
    return rc;
}

static int read_day(const json_t *body, const char *name, int32_t *ret, struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_string(body, name, &text, err);
    if (!rc && text && (rc = day_parse(text, ret, err)))
        error_field(err, name, text);
    return rc;
}

static int read_severity(const json_t *body, struct following_change *change, struct error *err)
{
    const char *word = NULL;
    int rc = jsonx_string(body, "severity", &word, err);
    change->severity = json_object_get(body, "severity") != NULL;
    change->set_to = FOLLOW_NOT_SET;
    if (rc || !word)
        return rc;
    change->set_to = words_place(WORDS_SEVERITIES, word);
    if (change->set_to < 0)
        return refuse(err, "severity", word,
                      "must be one of " WORDS_SEVERITIES ", or null: as the rules weigh it");
    return 0;
}

static int read_decisions(struct asked *asked, struct store *store, const json_t *body,
                          struct error *err)
{
    struct following_change *change = &asked->change;
    const json_t *owner = json_object_get(body, "owner");
    int rc = jsonx_text(body, "owner", LENGTH_PERSON, &change->owner, err);
    if (json_is_null(owner))
        change->owner = "";
    change->due = json_object_get(body, "due") != NULL;
    change->due_day = WHEN_UNKNOWN_DAY;
    if (!rc)
        rc = read_day(body, "due", &change->due_day, err);
    if (!rc)
        rc = read_severity(body, change, err);
    if (!rc)
        rc = read_text(asked, store, body, "reason", &change->reason, err);
    if (!rc && change->severity && !change->reason)
        rc = refuse(err, "reason", NULL, "is missing: a severity is set with it");
    return rc;
}

/* Whom it is about, by name or because nobody else can be meant. */
static int read_report(struct asked *asked, struct store *store, const json_t *body,
                       struct error *err)
{
    const char *word = NULL;
    int64_t of_case = 0;
    int rc = jsonx_string(body, "complaint", &word, err);
    asked->change.report = asked->report;
    if (rc || !word)
        return rc ? rc
                  : following_report(store, &asked->row, asked->report, sizeof asked->report, err);
    rc = named_complaint(store, word, asked->report, err);
    if (!rc)
        rc = case_of_uuid(store, asked->report, &of_case, err);
    if (!rc && of_case != asked->row.id) {
        error_set(err, ERROR_CONFLICT, "is a complaint of %s, not of %s", CASE_ID(of_case),
                  CASE_ID(asked->row.id));
        rc = ERROR_CONFLICT;
    }
    if (rc)
        error_field(err, "complaint", word);
    return rc;
}

static int read_answered_at(const json_t *body, struct following_change *change, struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_string(body, "answered_at", &text, err);
    change->answered_ms = change->who.at_ms;
    if (!rc && text)
        rc = when_parse(text, &change->answered_ms, err);
    if (!rc && change->answered_ms > change->who.at_ms + WHEN_HOUR_MS)
        rc = error_set(err, ERROR_INVALID, "lies ahead");
    if (rc)
        error_field(err, "answered_at", text);
    return rc;
}

static int read_call(struct asked *asked, struct store *store, const json_t *body,
                     struct error *err)
{
    struct following_change *change = &asked->change;
    change->call_back_day = WHEN_UNKNOWN_DAY;
    int rc = read_day(body, "call_back", &change->call_back_day, err);
    if (!rc && change->call_back_day != WHEN_UNKNOWN_DAY &&
        change->call_back_day <
            tz_day(tz_of(asked->setup->tz, asked->row.plant), change->who.at_ms))
        rc = refuse(err, "call_back", json_string_value(json_object_get(body, "call_back")),
                    "is over in the plant: set a day from today on");
    if (!rc)
        rc = read_text(asked, store, body, "why", &change->call_back_why, err);
    if (!rc)
        rc = read_text(asked, store, body, "answered", &change->answered, err);
    if (!rc)
        rc = read_answered_at(body, change, err);
    if (!rc && change->answered && change->call_back_day != WHEN_UNKNOWN_DAY)
        rc = refuse(err, "call_back", NULL, "who was answered is not asked for in the same breath");
    bool about = change->answered || change->call_back_day != WHEN_UNKNOWN_DAY;
    return rc || !about ? rc : read_report(asked, store, body, err);
}

static int read_change(const struct request *rq, struct store *store, const json_t *body,
                       struct asked *asked, struct error *err)
{
    int64_t id = 0;
    struct following_change *change = &asked->change;
    change->who = (struct following_who){.user = rq->user, .at_ms = app_now_ms(rq->app)};
    int rc = named_case(store, rq->part[0], &id, err);
    if (!rc)
        rc = case_get(store, id, &asked->row, err);
    change->case_id = id;
    if (!rc)
        rc = check_names(rq, body, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &change->who.by, err);
    if (!rc)
        rc = read_decisions(asked, store, body, err);
    if (!rc)
        rc = read_text(asked, store, body, "note", &change->note, err);
    if (!rc)
        rc = read_call(asked, store, body, err);
    overheard_add_name(&asked->setup->desk, change->owner, &asked->words);
    overheard_add_name(&asked->setup->desk, change->who.by, &asked->words);
    return rc;
}

void follow_change(struct request *rq, struct store *store)
{
    struct error err = {0};
    const struct following_view view = view_of(rq);
    struct asked asked = {.setup = app_setup(rq->app)};
    json_t *body = NULL, *answer = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_change(rq, store, body, &asked, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, change_job, &asked, &err);
    if (!rc)
        rc = following_json(&asked.setup->desk, store, asked.row.id, &view, &answer, &err);
    json_t *heard = rc ? NULL : overheard_json(store, &asked.heard, true);
    if (heard) {
        app_wake(rq->app);
        json_object_set_new(answer, "heard", heard);
    }
    request_reply_result(rq, rc, answer, &err);
    json_decref(asked.heard.harm);
    text_buffer_free(&asked.words);
    for (int i = 0; i < asked.text_count; i++)
        free(asked.texts[i]);
    json_decref(body);
    setup_unref(asked.setup);
}
