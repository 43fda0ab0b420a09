/* Taking complaints: a batch (of one, or the lines of an NDJSON body) is read (desk/taking.h) on a
 * reader thread, logged by the writer in one job, and answered from a reader thread again, where
 * the rankings are made. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/answer.h"
#include "desk/passed_on.h"
#include "desk/unkept.h"
#include "serve/app.h"
#include "serve/lot_named.h"
#include "serve/route.h"
#include "store/case.h"
#include "store/lot_find.h"
#include "store/readers_share.h"
#include "tell/tell.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINES_MOST = 20000, RANKINGS_KEPT = 64 };

/* A file that brings the past: nobody acts on how a complaint of then is ranked, for no loaf of
 * then is on sale. A few lines are ranked at once whatever their age. */
enum { PAST_DAYS = 60, PAST_LINES = 20 };

struct line {
    const char *text;
    size_t length;
};

struct batch {
    struct request *rq;
    struct setup *setup; /* borrowed: lives as long as the request */
    struct taking *taking;
    struct line *line; /* of each, until it is read: in the request */
    char **answer;     /* to each, of lines that are answered together */
    size_t count, capacity;
    bool lines;       /* answer as NDJSON */
    json_t *rankings; /* by case: complaints of one batch often share theirs */
    bool rank;
    int64_t now_ms;
};

static void batch_free(struct batch *b)
{
    for (size_t i = 0; i < b->count; i++)
        taking_clear(&b->taking[i]);
    free(b->taking);
    free(b->line);
    json_decref(b->rankings);
    setup_unref(b->setup);
    free(b);
}

/* NULL: of the company, or of several. */
static const char *of_plant(const struct request *rq)
{
    return !rq->sees_all && rq->seen.count == 1 ? rq->seen.plant[0] : NULL;
}

static struct taking *batch_add(struct batch *b, long line)
{
    if (b->count == b->capacity) {
        b->capacity = b->capacity ? b->capacity * 2 : 1;
        b->taking = xrealloc(b->taking, b->capacity * sizeof *b->taking);
        b->line = xrealloc(b->line, b->capacity * sizeof *b->line);
    }
    struct taking *t = &b->taking[b->count++];
    *t = (struct taking){.source = b->lines ? request_query(b->rq, "source") : NULL,
                         .line = line,
                         .user = b->rq->user,
                         .of_plant = of_plant(b->rq),
                         .desk = (b->rq->roles & ROLE_DESK) != 0,
                         .alone = !b->lines};
    return t;
}

/* ---- reading ---- */

static void read_line(struct store *store, size_t index, void *arg)
{
    struct batch *b = arg;
    json_t *complaint = NULL;
    struct taking *t = &b->taking[index];
    const struct line line = b->line[index];
    if (jsonx_parse(line.text, line.length, &complaint, &t->err) == 0)
        taking_read(&b->setup->desk, store, complaint, b->now_ms, t);
    else
        taking_read_broken(&b->setup->desk, line.text, line.length, b->now_ms, t);
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
            batch_add(b, (long)number);
            b->line[b->count - 1] = (struct line){at, length};
        }
        at += length + 1;
    }
    if (!rc)
        readers_share(b->rq->app->bulk, store, &(struct readers_share){b->count, read_line, b});
    return rc;
}

/* The last lines of a file that came in several requests are its, too. */
static void mark_bulk(struct batch *b)
{
    size_t most = (size_t)config_number(b->setup->config, "mail/cases_apart");
    bool bulk = b->lines && (b->count > most || app_in_bulk(b->rq->app, NULL));
    for (size_t i = 0; i < b->count; i++)
        b->taking[i].bulk = bulk;
}

static void mark_past(struct batch *b)
{
    for (size_t i = 0; i < b->count && b->count > PAST_LINES; i++) {
        struct taking *t = &b->taking[i];
        t->old = t->form && t->form->received_ms < b->now_ms - PAST_DAYS * WHEN_DAY_MS;
    }
}

static int read_one(struct batch *b, struct store *store, struct error *err)
{
    json_t *complaint = NULL;
    struct taking *t = batch_add(b, 0);
    if (request_json(b->rq, &complaint, &t->err) == 0)
        taking_read(&b->setup->desk, store, complaint, b->now_ms, t);
    else
        taking_read_broken(&b->setup->desk, b->rq->body, b->rq->body_length, b->now_ms, t);
    json_decref(complaint);
    if (t->form || t->urgent)
        return 0;
    *err = t->err;
    return t->err.code;
}

/* ---- of a sender who sees some plants ---- */

/* There is such a report, and it is none of theirs. Everything is read as of all plants: whose a
 * complaint is shows then. */
static bool is_elsewhere(const struct batch *b, struct store *store, const char *uuid)
{
    int64_t of_case;
    if (b->rq->sees_all || !*uuid || case_of_uuid(store, uuid, &of_case, NULL))
        return false;
    seen_set(store, &b->rq->seen);
    bool seen = seen_report(store, uuid);
    seen_set(store, NULL);
    return !seen;
}

static void mark_elsewhere(struct batch *b, struct store *store)
{
    for (size_t i = 0; i < b->count; i++) {
        struct taking *t = &b->taking[i];
        if (!t->form)
            continue;
        t->elsewhere = is_elsewhere(b, store, t->form->uuid);
        t->form->same_as_unseen = is_elsewhere(b, store, t->form->same_as);
    }
}

/* What another plant's complaint of the same id says is not told. */
static void hush(struct taking *t, struct error *err)
{
    if (!t->elsewhere || err->code != ERROR_CONFLICT)
        return;
    json_decref(t->faults);
    t->faults = NULL;
    error_clear(err);
    error_set(err, ERROR_CONFLICT, "this id is another complaint's");
    error_field(err, "id", "");
}

static int read_looked(struct batch *b, struct store *store, struct error *err)
{
    bool began = store_look(store);
    int rc = b->lines ? read_lines(b, store, err) : read_one(b, store, err);
    store_unlook(store, began);
    mark_past(b);
    mark_bulk(b);
    mark_elsewhere(b, store);
    return rc;
}

/* A complaint that could not even be read for a fault of ours is not refused, nor are those it came
 * with taken: whoever sent them keeps them all and tries again. */
static int our_fault(const struct batch *b, struct error *err)
{
    for (size_t i = 0; i < b->count; i++) {
        if (error_is_ours(b->taking[i].err.code)) {
            *err = b->taking[i].err;
            return err->code;
        }
    }
    return 0;
}

/* ---- logging ---- */

static int log_batch(struct store *store, void *arg, struct error *err)
{
    struct batch *b = arg;
    int rc = 0;
    for (size_t i = 0; i < b->count && !rc; i++)
        rc = taking_log(&b->setup->desk, store, b->now_ms, &b->taking[i], err);
    return rc;
}

/* ---- answering ---- */

/* The case's ranking, made once a batch. Borrowed; NULL if it can't be made. */
static json_t *ranking_of(struct batch *b, const struct taking *t, struct store *store)
{
    const char *name = CASE_ID(t->placed.case_id);
    json_t *ranking = json_object_get(b->rankings, name);
    if (!ranking && json_object_size(b->rankings) >= RANKINGS_KEPT)
        json_object_clear(b->rankings); /* a file of complaints need not fit in memory ranked */
    if (!ranking && tell_brief(b->setup->triage, store, t->placed.case_id, &ranking, NULL) == 0)
        json_object_set_new(b->rankings, name, ranking);
    return ranking;
}

static bool wants_ranking(const struct batch *b, const struct taking *t)
{
    return t->form && b->rank && !t->old;
}

static json_t *answer_of(struct batch *b, const struct taking *t, struct store *store)
{
    if (t->form && !seen_complaint(store, t->placed.complaint_id))
        return answer_passed_on(&b->setup->desk, t);
    json_t *ranking = wants_ranking(b, t) ? ranking_of(b, t, store) : NULL;
    return answer_taken(&b->setup->desk, store, t, ranking);
}

static bool is_ranked(const struct batch *b)
{
    for (size_t i = 0; i < b->count; i++)
        if (wants_ranking(b, &b->taking[i]))
            return true;
    return false;
}

static void answer_line(struct store *store, size_t index, void *arg)
{
    struct batch *b = arg;
    json_t *answer = answer_of(b, &b->taking[index], store);
    b->answer[index] = jsonx_dump(answer);
    json_decref(answer);
}

static void answer_looked(struct store *store, struct batch *b)
{
    struct request *rq = b->rq;
    if (!b->lines) {
        bool again = b->taking[0].placed.again;
        json_t *answer = answer_of(b, &b->taking[0], store);
        batch_free(b);
        request_reply_json(rq, again ? 200 : 201, answer);
        return;
    }
    const struct readers_share all = {b->count, answer_line, b};
    struct text_buffer out = {0};
    b->answer = xcalloc(b->count + 1, sizeof *b->answer);
    if (is_ranked(b)) /* the rankings are one thread's */
        for (size_t i = 0; i < b->count; i++)
            answer_line(store, i, b);
    else
        readers_share(rq->app->bulk, store, &all);
    for (size_t i = 0; i < b->count; i++) {
        text_appendf(&out, "%s\n", b->answer[i]);
        free(b->answer[i]);
    }
    free(b->answer);
    batch_free(b);
    size_t length = out.length;
    request_reply(rq, 200, "application/x-ndjson", text_take(&out), length);
}

/* An alarm leaves at once. What is only to be ranked is not due yet: the next tick finds it. */
static bool holds_alarm(const struct batch *b)
{
    for (size_t i = 0; i < b->count; i++)
        if (b->taking[i].urgent)
            return true;
    return false;
}

static void answer_batch(struct store *store, void *arg)
{
    struct batch *b = arg;
    if (holds_alarm(b))
        app_wake(b->rq->app);
    bool began = store_look(store);
    if (!b->rq->sees_all)
        seen_set(store, &b->rq->seen);
    answer_looked(store, b);
    seen_set(store, NULL);
    store_unlook(store, began);
}

/* The commit stands even if nobody can rank now: answer without. Harm is told all the same. */
static void answer_plain(void *arg)
{
    struct batch *b = arg;
    struct request *rq = b->rq;
    struct text_buffer out = {0};
    for (size_t i = 0; i < b->count; i++) {
        json_t *answer = answer_busy(&b->setup->desk, &b->taking[i], rq->sees_all);
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
    if (b->count == 1)
        hush(&b->taking[0], &copy);
    json_t *faults = b->count == 1 && !b->lines ? json_incref(b->taking[0].faults) : NULL;
    bool apart = b->count && code != ERROR_TOO_LARGE; /* else nothing of it was read */
    json_t *harm =
        apart ? unkept_takings(&b->setup->desk, b->taking, b->count) : request_unkept(rq);
    batch_free(b);
    request_reply_faults(rq, code, &copy, faults, harm);
    json_decref(faults);
    json_decref(harm);
}

/* Refused, and the alarm it raised is committed. */
static void refuse_one(struct batch *b)
{
    struct request *rq = b->rq;
    const struct taking *t = &b->taking[0];
    const struct error err = t->err;
    json_t *faults = json_incref(t->faults), *more = answer_refused_harm(&b->setup->desk, t);
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
    for (size_t i = 0; i < b->count; i++)
        hush(&b->taking[i], &b->taking[i].err);
    if (code) {
        refuse_batch(b, code, err);
        return;
    }
    if (!b->lines && !b->taking[0].form) {
        refuse_one(b);
        return;
    }
    if (b->count && b->taking[0].bulk)
        app_bulk_now(rq->app);
    struct readers *readers = b->lines ? rq->app->bulk : rq->app->readers;
    /* what was committed together is answered together; rankings by all threads there are */
    bool brief = !b->lines && !wants_ranking(b, &b->taking[0]);
    const struct reader_job job = {answer_batch, answer_plain, b};
    if (brief ? readers_submit_brief(readers, &job) : readers_submit(readers, &job))
        answer_plain(b);
}

void complaints_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct batch *b = xcalloc(1, sizeof *b);
    seen_set(store, NULL); /* it is taken whosever it is */
    b->rq = rq;
    b->setup = app_setup(rq->app);
    b->lines = request_is_lines(rq);
    b->now_ms = app_now_ms(rq->app);
    b->rankings = json_object();
    int rc = request_query_flag(rq, "rank", true, &b->rank, &err);
    if (!rc)
        rc = read_looked(b, store, &err);
    if (!rc)
        rc = our_fault(b, &err);
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

/* Nobody but the plant's people and the company's is told of a lot that it is. */
static bool is_other(struct store *store, int64_t lot_id)
{
    struct lot_find_row row;
    return lot_id && lot_find_by_id(store, lot_id, &row, NULL) == 0 &&
           !seen_plant(store, row.plant);
}

/* A code that is another plant's is that, and none of one's own lots misread. */
static json_t *previewed(const struct request *rq, const struct setup *setup, struct store *store,
                         const struct taking *t, const json_t *ranking)
{
    const char *code = complaint_form_text(t->form, "lot_text");
    struct hold_of elsewhere;
    int64_t now_ms = app_now_ms(rq->app);
    bool other = is_other(store, complaint_lots_settled(&t->placing.lots)) ||
                 (code && lot_named_elsewhere(setup, store, code, now_ms, &elsewhere));
    json_t *answer = answer_preview(&setup->desk, store, t, other ? NULL : ranking, now_ms);
    if (other) {
        passed_on_lot(answer);
        json_object_set_new(answer, "understood", json_object());
        json_object_set_new(answer, "similar", json_array());
        json_object_set_new(answer, "doubts", json_array());
    }
    return answer;
}

void complaints_preview(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct taking t = {.alone = true, .desk = (rq->roles & ROLE_DESK) != 0};
    json_t *complaint = NULL, *ranking = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_json(rq, &complaint, &err);
    if (!rc)
        rc = taking_preview(&setup->desk, store, complaint, app_now_ms(rq->app), &t, &ranking);
    if (rc)
        request_reply_faults(rq, rc, err.code ? &err : &t.err, t.faults, NULL);
    else
        request_reply_json(rq, 200, previewed(rq, setup, store, &t, ranking));
    json_decref(complaint);
    json_decref(ranking);
    taking_clear(&t);
    setup_unref(setup);
}
