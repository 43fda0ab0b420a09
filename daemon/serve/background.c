#include "serve/background.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/event.h"
#include "desk/logged.h"
#include "desk/outgoing.h"
#include "desk/told.h"
#include "patterns/week.h"
#include "records/apply.h"
#include "serve/rematching.h"
#include "serve/service.h"
#include "serve/sessions.h"
#include "store/case.h"
#include "store/clock_mark.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/outbox.h"
#include "store/ranking.h"
#include "store/work.h"
#include "tell/tell.h"
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

enum {
    BACKGROUND_NICE = 10, /* a tenth of the processor time of a desk's thread, if they compete */
    ROUND = 16,           /* cases ranked between two commits */
    TICK_S = 1,
    CARE_EVERY_MS = 60000, /* purge, digest */
    RETRY_MS = 60000,
    WRITER_STUCK_MS = 60000
};

struct background {
    struct app *app;
    struct readers *own; /* one thread, of lower priority than the desk's */
    struct mailer *mailer;
    struct event *tick, *kick;
    atomic_bool busy, stopping;
    int64_t cared_ms;
    struct rematching *rematching;
    bool lost;            /* it was told that the database was taken away */
    int64_t failed_loads; /* that were told of */
};

/* ---- one case ---- */

struct ranked {
    struct work_row row;
    int64_t case_id;
    struct ranking ranking; /* its `why`: it is to be mailed */
    bool made, same, gone;  /* none: it failed */
    char message_id[128];
    json_t *told, *said, *lot; /* of a mail; the last two: desk/told.h */
};

struct round {
    struct background *bg;
    struct setup *setup;
    const char *kind; /* WORK_RANK or WORK_AGAIN */
    struct ranked ranked[ROUND];
    int count;
    bool mailed;
};

/* What becomes of its mail is decided on what is kept, so that a restart decides the same. */
static void decide_mail(struct round *round, struct ranked *r, struct store *store)
{
    struct ranking was = {0};
    bool mailed = ranking_last_mailed(store, r->case_id, &was, NULL) == 0;
    const char *why = event_case_reason(mailed ? &was : NULL, &r->ranking);
    ranking_clear(&was);
    bool again = strcmp(round->kind, WORK_AGAIN) == 0;
    if (!why || (again && !mailed)) /* who was told nothing has no news */
        return;
    r->ranking.why = xstrdup(why);
    if (again)
        return;
    event_message_id(round->setup->desk.mail_domain, app_now_ms(round->bg->app), r->message_id,
                     sizeof r->message_id);
    logged_case_doubts(&round->setup->desk, store, r->case_id, r->told);
    struct case_row row = {0};
    case_get(store, r->case_id, &row, NULL);
    r->lot = told_lot(store, round->setup->tz, row.lot_id);
    if (told_case(store, r->case_id, &r->said, NULL))
        r->said = json_array();
}

static void rank_looked(struct round *round, struct ranked *r, struct store *store)
{
    struct error err = {0};
    struct ranking now;
    r->case_id = r->row.subject_id;
    int rc = tell_case(round->setup->triage, store, r->case_id, &r->told, &r->ranking, &err);
    r->made = rc == 0;
    r->gone = rc == ERROR_NOT_FOUND;
    if (rc && !r->gone)
        log_write(&round->bg->app->log, LOG_LEVEL_ERROR, "cannot rank case=%s why=\"%s\"",
                  CASE_ID(r->case_id), err.text);
    if (rc)
        return;
    logged_case_json(&round->setup->desk, store, r->case_id, r->told, &r->ranking);
    if (ranking_get(store, r->case_id, 0, &now, NULL) == 0) {
        r->same = ranking_same(&now, &r->ranking);
        ranking_clear(&now);
    }
    if (!r->same)
        decide_mail(round, r, store);
}

static void rank_one(struct round *round, struct ranked *r, struct store *store)
{
    bool began = store_look(store);
    rank_looked(round, r, store);
    store_unlook(store, began);
}

static int save_mail(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    const struct ranking *ranking = &r->ranking;
    json_t *event = event_case(config_text(round->setup->config, "plant"), ranking->revision,
                               ranking->why, r->told);
    json_object_set(event, "made", r->lot);
    json_object_set(event, "said", r->said);
    const struct outbox_new mail = {.event = "case",
                                    .case_id = r->case_id,
                                    .revision = ranking->revision,
                                    .message_id = r->message_id,
                                    .created_ms = app_now_ms(round->bg->app)};
    return outgoing_add(store, &mail, event, err);
}

static int save_one(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    int rc = 0;
    if (!r->made && !r->gone)
        return work_retry(store, round->kind, &r->row, app_now_ms(round->bg->app) + RETRY_MS, err);
    if (r->made && !r->same) {
        rc = ranking_save(store, &r->ranking, err);
        if (!rc && r->ranking.why)
            rc = strcmp(round->kind, WORK_AGAIN) == 0
                     ? work_add(store, WORK_NEWS, r->case_id, app_now_ms(round->bg->app), err)
                     : save_mail(round, r, store, err);
    }
    return rc ? rc : work_done(store, round->kind, &r->row, err);
}

/* One case that cannot be saved is tried again later and keeps no other waiting. If not even that
 * can be written, the round has failed. */
static int save_apart(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    struct error why = {0};
    int rc = store_nest(store, err);
    if (rc)
        return rc;
    int saved = save_one(round, r, store, &why);
    rc = store_unnest(store, saved == 0, err);
    if (rc || !saved)
        return rc;
    log_write(&round->bg->app->log, LOG_LEVEL_ERROR, "cannot save the ranking case=%s why=\"%s\"",
              CASE_ID(r->case_id), why.text);
    return work_retry(store, round->kind, &r->row, app_now_ms(round->bg->app) + RETRY_MS, err);
}

static int save_round(struct store *store, void *arg, struct error *err)
{
    struct round *round = arg;
    int rc = 0;
    for (int i = 0; i < round->count && !rc; i++)
        rc = save_apart(round, &round->ranked[i], store, err);
    return rc;
}

/* True if there may be more. */
static bool rank_round(struct background *bg, struct setup *setup, struct store *store,
                       const char *kind)
{
    struct error err = {0};
    struct work_row row[ROUND];
    struct work_rows due = {row, 0, ROUND};
    struct round round = {.bg = bg, .setup = setup, .kind = kind};
    int rc = work_due(store, kind, app_now_ms(bg->app), &due, &err);
    round.count = due.count;
    for (int i = 0; i < round.count && !rc; i++) {
        round.ranked[i].row = row[i];
        rank_one(&round, &round.ranked[i], store);
        round.mailed |= round.ranked[i].ranking.why != NULL;
    }
    if (!rc && round.count)
        rc = writer_run(bg->app->writer, save_round, &round, &err);
    for (int i = 0; i < round.count; i++) {
        ranking_clear(&round.ranked[i].ranking);
        json_decref(round.ranked[i].told);
        json_decref(round.ranked[i].said);
        json_decref(round.ranked[i].lot);
    }
    if (rc) {
        log_write(&bg->app->log, LOG_LEVEL_ERROR, "cannot save rankings why=\"%s\"", err.text);
        return false;
    }
    if (round.mailed && bg->mailer)
        mailer_wake(bg->mailer);
    return round.count > 0;
}

/* ---- what other rules changed ---- */

enum { NEWS_TOLD = 50 }; /* cases that the mail names; the others it counts */
struct news {
    struct setup *setup;
    struct work_rows cases; /* all of them */
    char message_id[128], *payload;
    int64_t now_ms;
};

static json_t *news_case(struct store *store, int64_t case_id)
{
    struct case_row row;
    struct ranking now = {0};
    json_t *told = NULL;
    if (case_get(store, case_id, &row, NULL) || ranking_last_mailed(store, case_id, &now, NULL))
        return NULL;
    if (now.cause_count)
        told = json_pack("{s:o, s:s, s:b, s:s, s:s, s:s, s:f}", "case", CASE_ID_JSON(row.id),
                         "symptom", row.symptom, "harm", row.harm, "lot", now.lot, "why", now.why,
                         "cause", now.causes[0].cause, "probability", now.causes[0].probability);
    ranking_clear(&now);
    return told;
}

static void news_event(struct news *news, struct store *store)
{
    json_t *told = json_array();
    for (int i = 0; i < news->cases.count && i < NEWS_TOLD; i++) {
        json_t *one = news_case(store, news->cases.row[i].subject_id);
        if (!one)
            continue;
        const char *title = triage_cause_title(news->setup->triage,
                                               json_string_value(json_object_get(one, "cause")));
        if (title)
            json_object_set_new(one, "title", json_string(title));
        json_array_append_new(told, one);
    }
    json_t *event = event_summary(config_text(news->setup->config, "plant"), news->cases.count,
                                  triage_hash(news->setup->triage), told);
    news->payload = jsonx_dump(event);
    json_decref(event);
}

static int queue_news(struct store *store, void *arg, struct error *err)
{
    struct news *news = arg;
    const struct outbox_new mail = {.event = "summary",
                                    .message_id = news->message_id,
                                    .payload = news->payload,
                                    .created_ms = news->now_ms};
    int rc = outbox_add(store, &mail, err);
    for (int i = 0; i < news->cases.count && !rc; i++)
        rc = work_done(store, WORK_NEWS, &news->cases.row[i], err);
    return rc;
}

/* None while any is left that other rules may rank otherwise: one mail, not one a case. */
static int read_news(struct store *store, struct news *news, struct error *err)
{
    int64_t again = 0, count = 0;
    int rc = work_count(store, WORK_AGAIN, &again, err);
    if (!rc && !again)
        rc = work_count(store, WORK_NEWS, &count, err);
    if (rc || !count)
        return rc;
    news->cases =
        (struct work_rows){xcalloc((size_t)count, sizeof *news->cases.row), 0, (int)count};
    return work_due(store, WORK_NEWS, news->now_ms, &news->cases, err);
}

static void tell_news(struct background *bg, struct setup *setup, struct store *store)
{
    struct error err = {0};
    struct news news = {.setup = setup, .now_ms = app_now_ms(bg->app)};
    int rc = read_news(store, &news, &err);
    if (!rc && news.cases.count) {
        news_event(&news, store);
        event_message_id(setup->desk.mail_domain, news.now_ms, news.message_id,
                         sizeof news.message_id);
        rc = writer_run(bg->app->writer, queue_news, &news, &err);
    }
    if (rc)
        log_write(&bg->app->log, LOG_LEVEL_ERROR, "cannot queue the summary why=\"%s\"", err.text);
    free(news.payload);
    free(news.cases.row);
}

/* ---- by the clock ---- */

static int purge(struct store *store, void *arg, struct error *err)
{
    struct background *bg = arg;
    int purged = 0;
    enum clock_mark clock = CLOCK_WAITING;
    int64_t now_ms = app_now_ms(bg->app);
    int rc = clock_mark_look(store, now_ms, &clock, err);
    if (!rc && clock == CLOCK_STEPPED)
        log_write(&bg->app->log, LOG_LEVEL_WARNING,
                  "the clock was stepped, or nobody ran for an hour: nothing is purged for a day");
    if (!rc && clock == CLOCK_STEADY)
        rc = contact_purge(store, now_ms, &purged, err);
    if (!rc && purged) {
        log_write(&bg->app->log, LOG_LEVEL_INFO, "contact data purged count=%d", purged);
        app_checkpoint(bg->app);
    }
    return rc;
}

struct digest {
    char week[16], message_id[128], *payload; /* payload NULL: only remember the week */
    int64_t now_ms;
};

static int queue_digest(struct store *store, void *arg, struct error *err)
{
    struct digest *d = arg;
    const struct outbox_new mail = {.event = "digest",
                                    .message_id = d->message_id,
                                    .payload = d->payload,
                                    .created_ms = d->now_ms};
    int rc = d->payload ? outbox_add(store, &mail, err) : 0;
    return rc ? rc : store_setting_set(store, "digest/last", d->week, err);
}

static int make_digest(struct background *bg, struct setup *setup, struct store *store,
                       struct iso_week last, struct digest *d, struct error *err)
{
    json_t *week = NULL;
    struct week_query query = {.week = last, .now_ms = d->now_ms};
    int rc = week_report(store, setup->tz, setup->triage, &query, &week, err);
    if (rc)
        return rc;
    event_digest_id(setup->desk.mail_domain, d->week, d->message_id, sizeof d->message_id);
    json_t *event = event_digest(config_text(setup->config, "plant"), week);
    d->payload = jsonx_dump(event);
    json_decref(event);
    json_decref(week);
    return writer_run(bg->app->writer, queue_digest, d, err);
}

/* Last week's digest is due from Monday's hour on and is queued once: its Message-ID is the
 * week's, so even a lost setting could not queue it twice. A new daemon begins with the next
 * Monday: the weeks before it was there are not its to report. */
static int digest_if_due(struct background *bg, struct setup *setup, struct store *store,
                         struct error *err)
{
    struct digest d = {.now_ms = app_now_ms(bg->app)};
    struct civil local = tz_civil(setup->tz, d.now_ms);
    int32_t today = tz_day(setup->tz, d.now_ms);
    struct iso_week last = iso_week_add(iso_week_of(today), -1);
    char *done = NULL;
    if (day_of_week(today) == 1 && local.hour < config_number(setup->config, "mail/digest_hour"))
        return 0;
    iso_week_format(last, d.week);
    int rc = store_setting_get(store, "digest/last", &done, err);
    bool is_new = !rc && !done, is_done = done && strcmp(done, d.week) == 0;
    free(done);
    if (rc || is_done)
        return rc;
    rc = is_new ? writer_run(bg->app->writer, queue_digest, &d, err)
                : make_digest(bg, setup, store, last, &d, err);
    free(d.payload);
    return rc;
}

/* Once a file: its sender may be long gone. */
static void tell_failed_loads(struct background *bg, struct store *store)
{
    struct load_file failed;
    int64_t count = 0;
    if (load_file_failed(store, &failed, &count, NULL) == 0 && count > bg->failed_loads)
        log_write(&bg->app->log, LOG_LEVEL_ERROR,
                  "accepted records could not be applied kind=%s source=\"%s\" applied_rows=%lld "
                  "kept=%s/loads/%s" APPLY_FAILED ": load that file again",
                  record_kind_table(failed.kind)->kind, failed.source, (long long)failed.applied,
                  bg->app->state_dir, failed.id);
    bg->failed_loads = count;
}

static void care(struct background *bg, struct setup *setup, struct store *store)
{
    struct error err = {0};
    int64_t now_ms = app_now_ms(bg->app);
    load_forget(bg->app->state_dir, now_ms);
    int rc = writer_run(bg->app->writer, purge, bg, &err);
    if (!rc)
        rc = load_continue(bg->app->writer, bg->app->state_dir, &err);
    tell_failed_loads(bg, store);
    if (!rc)
        rc = digest_if_due(bg, setup, store, &err);
    if (rc && !atomic_load(&bg->stopping)) /* cut short by a stop, it goes on at the next start */
        log_write(&bg->app->log, LOG_LEVEL_ERROR, "housekeeping failed why=\"%s\"", err.text);
}

/* ---- rounds ---- */

static void background_round(struct store *store, void *arg)
{
    struct background *bg = arg;
    /* Of this thread alone, on Linux. Not the idle class: a thread of it that holds a lock (of a
     * cache, of the allocator) may not run at all on a busy machine, and the desk waits for it. */
    setpriority(PRIO_PROCESS, 0, BACKGROUND_NICE);
    struct setup *setup = app_setup(bg->app);
    sessions_expire(bg->app->sessions, app_now_ms(bg->app));
    for (bool more = true; more && !atomic_load(&bg->stopping);) {
        more = rematching_round(bg->rematching, setup, store);
        more = rank_round(bg, setup, store, WORK_RANK) || more;
        if (!more && !app_in_bulk(bg->app))
            more = rank_round(bg, setup, store, WORK_AGAIN);
        if (more && bg->mailer)
            mailer_wake(bg->mailer);
    }
    if (!atomic_load(&bg->stopping))
        tell_news(bg, setup, store);
    int64_t now_ms = clock_monotonic_ms();
    if (!atomic_load(&bg->stopping) && now_ms - bg->cared_ms >= CARE_EVERY_MS) {
        bg->cared_ms = now_ms;
        care(bg, setup, store);
    }
    setup_unref(setup);
    if (bg->mailer)
        mailer_wake(bg->mailer);
    atomic_store(&bg->busy, false);
}

static void background_refused(void *arg)
{
    struct background *bg = arg;
    atomic_store(&bg->busy, false);
}

static void start_round(struct background *bg)
{
    if (atomic_load(&bg->stopping) || atomic_exchange(&bg->busy, true))
        return;
    if (readers_submit(bg->own, &(struct reader_job){background_round, background_refused, bg}))
        background_refused(bg);
}

/* The loop got here and the writer moves: all is well. */
static void tell_watchdog(const struct writer_counts *counts)
{
    if (clock_monotonic_ms() - counts->last_progress_ms < WRITER_STUCK_MS)
        service_alive();
}

/* Once when it happens and once when it is mended. */
static void tell_lost(struct background *bg, const struct error *lost)
{
    char text[1024];
    bool was = bg->lost;
    bg->lost = lost->code != 0;
    if (bg->lost && !was)
        log_write(&bg->app->log, LOG_LEVEL_ERROR, "nothing is written any more: %s",
                  error_format(lost, text, sizeof text));
    else if (was && !bg->lost)
        log_write(&bg->app->log, LOG_LEVEL_INFO,
                  "the database is there again as it was left: writing goes on");
}

static void background_on_tick(evutil_socket_t fd, short what, void *arg)
{
    (void)fd;
    (void)what;
    struct background *bg = arg;
    struct writer_counts counts = writer_counts(bg->app->writer);
    tell_watchdog(&counts);
    tell_lost(bg, &counts.lost);
    start_round(bg);
}

static void background_on_kick(evutil_socket_t fd, short what, void *arg)
{
    (void)fd;
    (void)what;
    start_round(arg);
}

static void background_wake(void *arg)
{
    struct background *bg = arg;
    event_active(bg->kick, EV_READ, 0);
    if (bg->mailer)
        mailer_wake(bg->mailer);
}

int background_start(struct event_base *base, struct app *app, struct mailer *mailer,
                     struct background **ret, struct error *err)
{
    struct background *bg = xcalloc(1, sizeof *bg);
    int rc = readers_start(app->state_dir, 1, 1, &bg->own, err);
    if (rc) {
        free(bg);
        return rc;
    }
    bg->app = app;
    bg->mailer = mailer;
    bg->rematching = rematching_new(app);
    bg->tick = event_new(base, -1, EV_PERSIST, background_on_tick, bg);
    bg->kick = event_new(base, -1, EV_PERSIST, background_on_kick, bg);
    const struct timeval every = {TICK_S, 0};
    event_add(bg->tick, &every);
    app->wake = background_wake;
    app->wake_arg = bg;
    *ret = bg;
    return 0;
}

bool background_stopping(struct background *bg)
{
    atomic_store(&bg->stopping, true);
    return !atomic_load(&bg->busy);
}

void background_close(struct background *bg)
{
    if (!bg)
        return;
    atomic_store(&bg->stopping, true);
    readers_close(bg->own);
}

void background_free(struct background *bg)
{
    if (!bg)
        return;
    bg->app->wake = NULL;
    readers_free(bg->own);
    event_free(bg->tick);
    event_free(bg->kick);
    rematching_free(bg->rematching);
    free(bg);
}
