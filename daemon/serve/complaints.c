/* Taking complaints: a batch (of one, or the lines of an NDJSON body) is read and matched to lots
 * on a reader thread, logged by the writer in one job, and answered from a reader thread again,
 * where the rankings are made. */
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/joining.h"
#include "desk/placing.h"
#include "desk/understood.h"
#include "intake/complaint_form.h"
#include "intake/lexicon.h"
#include "notify/event.h"
#include "patterns/returns.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/complaint.h"
#include "store/outbox.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

enum { TOP = 3, LINES_MOST = 20000, RANKINGS_KEPT = 64 };

struct entry {
    struct complaint_form *form; /* NULL: refused, see err */
    struct error err;            /* the first fault */
    json_t *faults; /* all faults of what was said; empty for one that the store found */
    long line;
    struct placing placing;
    json_t *taken;
    char *body, *contact;
    json_t *urgent; /* event of harm, or NULL */
    json_t *harm;   /* what a refused one says of harm, or NULL */
    char message_id[128];
    struct complaint_placed placed;
};

struct batch {
    struct request *rq;
    struct setup *setup; /* borrowed: lives as long as the request */
    struct entry *entry;
    size_t count, capacity;
    bool lines;       /* answer as NDJSON */
    json_t *rankings; /* by case: complaints of one batch often share theirs */
    bool rank;
    int64_t now_ms;
};

static void batch_free(struct batch *b)
{
    for (size_t i = 0; i < b->count; i++) {
        struct entry *e = &b->entry[i];
        complaint_form_free(e->form);
        json_decref(e->faults);
        json_decref(e->taken);
        json_decref(e->urgent);
        json_decref(e->harm);
        free(e->body);
        free(e->contact);
    }
    free(b->entry);
    json_decref(b->rankings);
    setup_unref(b->setup);
    free(b);
}

static struct entry *batch_add(struct batch *b)
{
    if (b->count == b->capacity) {
        b->capacity = b->capacity ? b->capacity * 2 : 1;
        b->entry = xrealloc(b->entry, b->capacity * sizeof *b->entry);
    }
    struct entry *e = &b->entry[b->count++];
    memset(e, 0, sizeof *e);
    return e;
}

/* ---- reading ---- */

/* "core_at_pack [degF]" 117.5 is core_at_pack_c 47.5, as in the header of a record file. */
static int read_measured(void *arg, const char *name, double value, const char **ret_quantity,
                         double *ret_value, struct error *err)
{
    const struct catalogue_quantity *quantity = NULL;
    const char *bracket = strchr(name, '['), *end = strchr(name, ']');
    char bare[96], unit[24];
    if (!bracket)
        return triage_check_quantity(arg, name, value, err);
    if (!end || end[1] || end == bracket + 1)
        return error_set(err, ERROR_INVALID, "the unit stands in brackets at the end of the name");
    snprintf(bare, sizeof bare, "%.*s", (int)(bracket - name), name);
    snprintf(unit, sizeof unit, "%.*s", (int)(end - bracket - 1), bracket + 1);
    for (size_t length = strlen(bare); length && bare[length - 1] == ' ';)
        bare[--length] = '\0';
    int rc = catalogue_match(triage_catalogue(arg), bare, unit, &quantity, err);
    if (!rc)
        rc = catalogue_convert(value, unit, quantity->unit, ret_value, err);
    if (!rc)
        rc = triage_check_quantity(arg, quantity->name, *ret_value, err);
    if (!rc)
        *ret_quantity = quantity->name;
    return rc;
}

static int read_form(struct entry *e, const json_t *complaint, struct setup *setup, bool partial,
                     int64_t now_ms)
{
    const struct form_options options = {.tz = setup->tz,
                                         .partial = partial,
                                         .now_ms = now_ms,
                                         .faults = e->faults = json_array(),
                                         .measured = read_measured,
                                         .measured_arg = setup->triage};
    return complaint_form_read(complaint, &options, &e->form, &e->err);
}

/* Nothing of a refused complaint is kept, but harm it speaks of is heard all the same. */
static void refuse_entry(struct batch *b, struct entry *e, const json_t *complaint)
{
    const char *source = b->lines ? request_query(b->rq, "source") : NULL;
    complaint_form_free(e->form);
    e->form = NULL;
    json_decref(e->urgent);
    e->urgent = NULL;
    error_at(&e->err, source, e->line, 0);
    e->harm = complaint_form_harm(complaint);
    if (!e->harm)
        return;
    e->urgent =
        event_urgent_refused(config_text(b->setup->config, "plant"),
                             json_object_get(b->setup->harm, "mail"), complaint, e->harm, &e->err);
    event_message_id(config_text(b->setup->config, "mail/from"), b->now_ms, e->message_id,
                     sizeof e->message_id);
}

/* A row that its sender could not read: {"refused": {"faults": [{"field", "value", "reason",
 * "hint"}]}} beside what could be read of it. */
static int refused_before(struct entry *e, const json_t *complaint)
{
    const json_t *refused = json_object_get(complaint, "refused");
    if (!json_is_object(refused))
        return 0;
    const json_t *fault = json_array_get(json_object_get(refused, "faults"), 0);
    const char *reason = json_string_value(json_object_get(fault, "reason"));
    const char *hint = json_string_value(json_object_get(fault, "hint"));
    e->faults = json_deep_copy(json_object_get(refused, "faults"));
    error_field(&e->err, json_string_value(json_object_get(fault, "field")),
                json_string_value(json_object_get(fault, "value")));
    error_hint(&e->err, "%s", hint ? hint : "");
    return error_set(&e->err, ERROR_INVALID, "%s", reason ? reason : "refused by its sender");
}

static void read_entry(struct batch *b, struct entry *e, const json_t *complaint,
                       struct store *store)
{
    /* the note fills only what nobody chose; what it gave is shown to the desk */
    json_t *filled = lexicon_fill(b->setup->lexicon, complaint, &e->taken);
    int rc = refused_before(e, complaint);
    if (!rc)
        rc = read_form(e, filled, b->setup, false, b->now_ms);
    if (!rc)
        rc = placing_find(&b->setup->desk, store, e->form, &e->placing, &e->err);
    if (!rc)
        placing_doubt(store, e->form);
    if (rc)
        refuse_entry(b, e, filled);
    json_decref(filled);
    if (rc)
        return;
    e->body = jsonx_dump(e->form->body);
    e->contact = e->form->contact ? jsonx_dump(e->form->contact) : NULL;
    if (e->form->harm) {
        e->urgent = event_urgent(config_text(b->setup->config, "plant"),
                                 json_object_get(b->setup->harm, "mail"), e->form->body,
                                 e->placing.lot_count ? e->placing.code[0] : NULL);
        event_message_id(config_text(b->setup->config, "mail/from"), b->now_ms, e->message_id,
                         sizeof e->message_id);
    }
}

/* What is no JSON is read as words. */
static void read_broken(struct batch *b, struct entry *e, const char *text, size_t length)
{
    json_t *words = json_object();
    if (text_is_utf8(text, length))
        json_object_set_new(words, "note", json_stringn(text, length));
    json_t *filled = lexicon_fill(b->setup->lexicon, words, &e->taken);
    refuse_entry(b, e, filled);
    json_decref(filled);
    json_decref(words);
}

static void read_line(struct batch *b, const char *line, size_t length, long number,
                      struct store *store)
{
    json_t *complaint = NULL;
    struct entry *e = batch_add(b);
    e->line = number;
    if (jsonx_parse(line, length, &complaint, &e->err) == 0)
        read_entry(b, e, complaint, store);
    else
        read_broken(b, e, line, length);
    json_decref(complaint);
}

static bool is_blank(const char *s, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        if (!strchr(" \t\r\n", s[i]))
            return false;
    }
    return true;
}

static int read_lines(struct batch *b, struct store *store, struct error *err)
{
    int64_t number;
    int rc = request_query_int(b->rq, "first_line", 1, &number, err);
    const char *at = b->rq->body, *end = at + b->rq->body_length;
    for (; !rc && at < end; number++) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        size_t length = (size_t)((stop ? stop : end) - at);
        if (!is_blank(at, length)) {
            if (b->count == LINES_MOST)
                return error_set(err, ERROR_TOO_LARGE, "more than %d complaints in one request",
                                 LINES_MOST);
            read_line(b, at, length, (long)number, store);
        }
        at += length + 1;
    }
    return rc;
}

static int read_one(struct batch *b, struct store *store, struct error *err)
{
    json_t *complaint = NULL;
    struct entry *e = batch_add(b);
    if (request_json(b->rq, &complaint, &e->err) == 0)
        read_entry(b, e, complaint, store);
    else
        read_broken(b, e, b->rq->body, b->rq->body_length);
    json_decref(complaint);
    if (e->form || e->harm)
        return 0;
    *err = e->err;
    return e->err.code;
}

/* ---- logging ---- */

/* In a savepoint: a report that is refused half-way leaves nothing behind in its batch. */
static int log_joined(struct batch *b, struct entry *e, struct store *store,
                      const struct complaint_new *c, struct error *err)
{
    int rc = store_nest(store, err);
    if (rc)
        return rc;
    rc = joining_log(&b->setup->desk, store, e->form, c, &e->placed, err);
    int unnested = store_unnest(store, rc == 0, rc ? NULL : err);
    return rc ? rc : unnested;
}

/* A row that names no complaint it could repeat is refused by itself, and so is a lone complaint
 * that speaks of harm, for its alarm to be raised. */
static int log_report(struct batch *b, struct entry *e, struct store *store,
                      const struct complaint_new *c, struct error *err)
{
    int rc = e->form->same_as[0] ? log_joined(b, e, store, c, err)
                                 : complaint_log(store, c, &e->placed, err);
    if (rc != ERROR_INVALID || !(b->lines || e->form->harm))
        return rc;
    json_t *body = json_incref(e->form->body);
    e->err = *err;
    error_clear(err);
    refuse_entry(b, e, body);
    json_decref(body);
    return 0;
}

static int raise_alarm(const struct batch *b, const struct entry *e, struct store *store,
                       struct error *err)
{
    char *payload = jsonx_dump(e->urgent);
    int rc =
        outbox_add(store, "urgent", e->placed.case_id, 0, e->message_id, payload, b->now_ms, err);
    free(payload);
    return rc;
}

static int log_entry(struct batch *b, struct entry *e, struct store *store, struct error *err)
{
    struct complaint_new c;
    placing_complaint(&b->setup->desk, e->form, &e->placing, e->body, b->now_ms, &c);
    c.contact = e->contact;
    c.contact_fold = e->form->contact_fold;
    c.contact_purge_ms = b->now_ms + config_number(b->setup->config, "contact_days") * WHEN_DAY_MS;
    int rc = log_report(b, e, store, &c, err);
    if (rc || !e->urgent || e->placed.again)
        return rc;
    if (!e->form)
        return raise_alarm(b, e, store, err);
    char case_name[24];
    snprintf(case_name, sizeof case_name, "C%lld", (long long)e->placed.case_id);
    json_object_set_new(e->urgent, "case", json_string(case_name));
    return raise_alarm(b, e, store, err);
}

static int log_batch(struct store *store, void *arg, struct error *err)
{
    struct batch *b = arg;
    int rc = 0;
    for (size_t i = 0; i < b->count && !rc; i++) {
        if (b->entry[i].form)
            rc = log_entry(b, &b->entry[i], store, err);
        else if (b->entry[i].urgent)
            rc = raise_alarm(b, &b->entry[i], store, err);
    }
    return rc;
}

/* ---- answering ---- */

/* Of a report of harm: does anybody get a mail? NULL: one goes out once this is logged. */
static const char *alarm_of(const struct setup *setup, bool logged, bool again)
{
    const struct mail_settings mail = setup_mail(setup);
    if (!mail_settings_alarms(&mail))
        return "no mail is set up: phone the food-safety lead";
    if (again)
        return "its urgent mail was queued when it was first logged";
    return logged ? "an urgent mail goes out at once" : NULL;
}

/* What to read out, and whether a mail about it leaves. */
static void add_harm(const struct setup *setup, const char *alarm, json_t *answer)
{
    json_object_set(answer, "script", json_object_get(setup->harm, "script"));
    if (alarm)
        json_object_set_new(answer, "alarm", json_string(alarm));
}

/* Of one that is refused: what it says of harm is answered all the same. */
static void add_refused_harm(const struct batch *b, const struct entry *e, json_t *answer)
{
    if (!e->harm)
        return;
    json_object_set(answer, "harm", e->harm);
    add_harm(b->setup, alarm_of(b->setup, true, false), answer);
}

static json_t *refusal_json(const struct batch *b, const struct entry *e)
{
    const char *source = request_query(b->rq, "source");
    json_t *error = json_pack("{s:s, s:I, s:s, s:s, s:s}", "source", source ? source : "", "line",
                              (json_int_t)e->line, "field", e->err.field, "value", e->err.value,
                              "reason", e->err.text);
    if (json_array_size(e->faults) > 1)
        json_object_set(error, "faults", e->faults);
    if (e->err.hint[0])
        json_object_set_new(error, "hint", json_string(e->err.hint));
    json_t *refusal = json_pack("{s:o}", "error", error);
    add_refused_harm(b, e, refusal);
    return refusal;
}

/* The first of the ranked causes, each without its working. */
static json_t *top_of(const json_t *ranked)
{
    json_t *top = json_array();
    for (size_t i = 0; i < TOP && i < json_array_size(ranked); i++) {
        const json_t *cause = json_array_get(ranked, i);
        json_t *brief = json_object();
        static const char *const KEYS[] = {"cause", "title", "probability"};
        for (size_t k = 0; k < 3; k++)
            json_object_set(brief, KEYS[k], json_object_get(cause, KEYS[k]));
        json_array_append_new(top, brief);
    }
    return top;
}

static void add_ranking(json_t *answer, const json_t *ranking)
{
    static const char *const KEYS[] = {"lots", "ask", "cautions", "harm"};
    json_object_set_new(answer, "ranked", top_of(json_object_get(ranking, "ranked")));
    for (size_t k = 0; k < sizeof KEYS / sizeof KEYS[0]; k++) {
        json_t *value = json_object_get(ranking, KEYS[k]);
        if (value)
            json_object_set(answer, KEYS[k], value);
    }
}

/* Before all others: where returned goods must not stand. */
static void add_return_caution(const struct setup *setup, const struct complaint_form *form,
                               json_t *answer)
{
    const char *channel = complaint_form_text(form, "channel");
    if (!channel || strcmp(channel, "return") != 0)
        return;
    const char *caution =
        returns_caution(triage_catalogue(setup->triage), complaint_form_text(form, "put_at"));
    json_t *cautions = json_copy(json_object_get(answer, "cautions"));
    if (!cautions)
        cautions = json_array();
    if (caution)
        json_array_insert_new(cautions, 0, json_string(caution));
    json_object_set_new(answer, "cautions", cautions);
}

static json_t *lots_json(const struct placing *placing)
{
    json_t *lots = json_array();
    for (int i = 0; i < placing->lot_count; i++)
        json_array_append_new(lots, json_pack("{s:s, s:f}", "lot", placing->code[i], "weight",
                                              placing->lots[i].weight));
    return lots;
}

/* The case's ranking, made once a batch. Borrowed; NULL if it can't be made. */
static json_t *ranking_of(struct batch *b, const char *case_name, int64_t case_id,
                          struct store *store)
{
    json_t *ranking = json_object_get(b->rankings, case_name);
    if (!ranking && json_object_size(b->rankings) >= RANKINGS_KEPT)
        json_object_clear(b->rankings); /* a file of complaints need not fit in memory ranked */
    if (!ranking && tell_case(b->setup->triage, store, case_id, &ranking, NULL, NULL) == 0)
        json_object_set_new(b->rankings, case_name, ranking);
    return ranking;
}

/* What the complaint it repeats got from it, and where the two differ. */
static void add_joined(const struct entry *e, struct store *store, json_t *answer)
{
    size_t i;
    json_t *report;
    json_t *reports = joining_reports_json(store, e->placed.complaint_id, false, NULL);
    json_object_set_new(answer, "same_as", joining_of_json(store, e->form->uuid));
    json_array_foreach(reports, i, report)
    {
        const char *uuid = json_string_value(json_object_get(report, "complaint"));
        if (uuid && strcmp(uuid, e->form->uuid) == 0) {
            json_object_set(answer, "brought", json_object_get(report, "brought"));
            json_object_set(answer, "differs", json_object_get(report, "differs"));
        }
    }
    json_decref(reports);
}

static json_t *answer_entry(struct batch *b, struct entry *e, struct store *store)
{
    char case_name[24];
    if (!e->form)
        return refusal_json(b, e);
    snprintf(case_name, sizeof case_name, "C%lld", (long long)e->placed.case_id);
    json_t *answer = json_pack("{s:s, s:s, s:b}", "complaint", e->form->uuid, "case", case_name,
                               "again", e->placed.again);
    json_t *lots = lots_json(&e->placing);
    json_object_set_new(answer, "lot", understood_code(store, e->placed.lot_id, lots));
    json_object_set_new(answer, "lots", lots);
    json_object_set_new(answer, "understood",
                        understood_json(store, b->setup->tz, e->placed.lot_id, e->form));
    json_object_set(answer, "taken", e->taken);
    json_object_set(answer, "doubts", e->form->doubts);
    json_object_set(answer, "ignored", e->form->ignored);
    json_t *ranking = b->rank ? ranking_of(b, case_name, e->placed.case_id, store) : NULL;
    if (ranking)
        add_ranking(answer, ranking);
    add_return_caution(b->setup, e->form, answer);
    if (e->form->harm)
        add_harm(b->setup, alarm_of(b->setup, true, e->placed.again), answer);
    if (e->placed.joined)
        add_joined(e, store, answer);
    else
        json_object_set_new(answer, "similar",
                            understood_similar(store, &b->setup->desk, e->placed.complaint_id,
                                               e->form, e->placed.lot_id, e->placing.product_id));
    return answer;
}

static void answer_batch(struct store *store, void *arg)
{
    struct batch *b = arg;
    struct request *rq = b->rq;
    app_wake(rq->app);
    if (!b->lines) {
        bool again = b->entry[0].placed.again;
        json_t *answer = answer_entry(b, &b->entry[0], store);
        batch_free(b);
        request_reply_json(rq, again ? 200 : 201, answer);
        return;
    }
    struct text_buffer out = {0};
    for (size_t i = 0; i < b->count; i++) {
        json_t *answer = answer_entry(b, &b->entry[i], store);
        char *line = jsonx_dump(answer);
        text_append(&out, line);
        text_append(&out, "\n");
        free(line);
        json_decref(answer);
    }
    batch_free(b);
    size_t length = out.length;
    request_reply(rq, 200, "application/x-ndjson", text_take(&out), length);
}

static json_t *plain_json(const struct batch *b, const struct entry *e)
{
    char case_name[24];
    if (!e->form)
        return refusal_json(b, e);
    snprintf(case_name, sizeof case_name, "C%lld", (long long)e->placed.case_id);
    json_t *answer =
        json_pack("{s:s, s:s, s:n, s:[], s:[], s:[], s:[], s:b}", "complaint", e->form->uuid,
                  "case", case_name, "lot", "lots", "ranked", "ask", "cautions", "busy", true);
    if (e->form->harm) {
        json_object_set_new(answer, "harm", json_true());
        add_harm(b->setup, alarm_of(b->setup, true, e->placed.again), answer);
    }
    return answer;
}

/* The commit stands even if nobody can rank now: answer without. Harm is told all the same. */
static void answer_plain(void *arg)
{
    struct batch *b = arg;
    struct request *rq = b->rq;
    struct text_buffer out = {0};
    for (size_t i = 0; i < b->count; i++) {
        json_t *answer = plain_json(b, &b->entry[i]);
        char *line = jsonx_dump(answer);
        text_appendf(&out, "%s\n", line);
        free(line);
        json_decref(answer);
    }
    bool lines = b->lines;
    batch_free(b);
    size_t length = out.length;
    request_reply(rq, lines ? 200 : 201, lines ? "application/x-ndjson" : "application/json",
                  text_take(&out), length);
}

static void refuse_batch(struct batch *b, int code, const struct error *err)
{
    struct request *rq = b->rq;
    struct error copy = *err;
    json_t *faults = b->count == 1 && !b->lines ? json_incref(b->entry[0].faults) : NULL;
    batch_free(b);
    request_reply_faults(rq, code, &copy, faults, NULL);
    json_decref(faults);
}

/* Refused, and the alarm it raised is committed. */
static void refuse_one(struct batch *b)
{
    struct request *rq = b->rq;
    const struct entry *e = &b->entry[0];
    const struct error err = e->err;
    json_t *faults = json_incref(e->faults), *more = json_object();
    add_refused_harm(b, e, more);
    app_wake(rq->app);
    batch_free(b);
    request_reply_faults(rq, err.code, &err, faults, more);
    json_decref(faults);
    json_decref(more);
}

static void batch_logged(void *arg, int code, const struct error *err)
{
    struct batch *b = arg;
    struct request *rq = b->rq;
    if (code) {
        refuse_batch(b, code, err);
        return;
    }
    if (!b->lines && !b->entry[0].form) {
        refuse_one(b);
        return;
    }
    struct readers *readers = b->lines ? rq->app->bulk : rq->app->readers;
    if (readers_submit(readers, &(struct reader_job){answer_batch, answer_plain, b}))
        answer_plain(b);
}

void complaints_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct batch *b = xcalloc(1, sizeof *b);
    b->rq = rq;
    b->setup = app_setup(rq->app);
    b->lines = request_is_lines(rq);
    b->now_ms = app_now_ms(rq->app);
    b->rankings = json_object();
    int rc = request_query_flag(rq, "rank", true, &b->rank, &err);
    if (!rc)
        rc = b->lines ? read_lines(b, store, &err) : read_one(b, store, &err);
    if (rc) {
        refuse_batch(b, rc, &err);
        return;
    }
    if (writer_submit(rq->app->writer, &(struct writer_job){log_batch, batch_logged, b})) {
        error_set(&err, ERROR_BUSY, "too much is waiting to be written");
        error_hint(&err, "try again in a moment; the same id is logged once");
        refuse_batch(b, ERROR_BUSY, &err);
    }
}

void complaints_preview(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct entry e = {0};
    json_t *complaint = NULL, *ranking = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_json(rq, &complaint, &err);
    json_t *filled = lexicon_fill(setup->lexicon, complaint, &e.taken);
    if (!rc)
        rc = read_form(&e, filled, setup, true, app_now_ms(rq->app));
    json_decref(filled);
    if (!rc)
        rc = placing_find(&setup->desk, store, e.form, &e.placing, &e.err);
    if (!rc)
        placing_doubt(store, e.form);
    if (!rc)
        rc = tell_preview(setup->triage, store, e.form->body, e.placing.lots, e.placing.lot_count,
                          &ranking, &e.err);
    if (rc) {
        request_reply_faults(rq, rc, err.code ? &err : &e.err, e.faults, NULL);
    } else {
        json_t *answer = json_object();
        json_t *lots = lots_json(&e.placing);
        bool settled =
            e.placing.lot_count && e.placing.lots[0].weight >= setup->desk.settled_weight;
        int64_t lot_id = settled ? e.placing.lots[0].lot_id : 0;
        json_object_set_new(answer, "lot", understood_code(store, lot_id, lots));
        json_object_set_new(answer, "lots", lots);
        json_object_set_new(answer, "understood",
                            understood_json(store, setup->tz, lot_id, e.form));
        json_object_set(answer, "taken", e.taken);
        json_object_set(answer, "doubts", e.form->doubts);
        json_object_set_new(
            answer, "similar",
            understood_similar(store, &setup->desk, 0, e.form, lot_id, e.placing.product_id));
        add_ranking(answer, ranking);
        add_return_caution(setup, e.form, answer);
        if (e.form->harm)
            add_harm(setup, alarm_of(setup, false, false), answer);
        request_reply_json(rq, 200, answer);
    }
    json_decref(complaint);
    json_decref(ranking);
    json_decref(e.taken);
    json_decref(e.faults);
    complaint_form_free(e.form);
    setup_unref(setup);
}
