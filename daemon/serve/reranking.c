#include "serve/reranking.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/event.h"
#include "desk/following.h"
#include "desk/logged.h"
#include "desk/outgoing.h"
#include "desk/spoken.h"
#include "desk/told.h"
#include "serve/plants.h"
#include "store/case.h"
#include "store/claim.h"
#include "store/outbox.h"
#include "store/ranking.h"
#include "store/seen.h"
#include "store/work.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

enum {
    ROUND = 16,      /* cases ranked between two commits */
    LOOKED_AT = 128, /* of which some may be claimed by other daemons */
    RETRY_MS = 60000
};

struct ranked {
    struct work_row row;
    int64_t case_id;
    struct ranking ranking; /* its `why`: it is to be mailed */
    bool made, same, gone;  /* none: it failed */
    char message_id[128];
    json_t *told;       /* of a mail all, else whether it is harm, and its lot */
    json_t *said, *lot; /* of a mail: desk/told.h */
};

struct round {
    struct app *app;
    struct setup *setup;
    const char *kind; /* WORK_RANK, WORK_AGAIN or WORK_BULK */
    bool together;    /* of the last: what it changes is told in one mail */
    struct ranked ranked[ROUND];
    int count;
};

/* Harm waits for no other. */
static bool is_told_together(const struct round *round, const struct ranked *r)
{
    return round->together && !json_is_true(json_object_get(r->told, "harm"));
}

static bool may_harm(const struct ranked *r)
{
    return json_is_true(json_object_get(r->told, "harm_possible"));
}

static void add_spoken(const struct round *round, struct ranked *r, struct store *store)
{
    json_t *spoken = NULL;
    if (spoken_of_case(&round->setup->desk, store, r->case_id, &spoken, NULL) == 0)
        json_object_set_new(r->told, "spoken", spoken);
}

static void add_logged(const struct round *round, struct ranked *r, struct store *store)
{
    logged_case_json(&round->setup->desk, store, r->case_id, r->told, &r->ranking);
}

/* All of it, for the mail. */
static void tell_all(struct round *round, struct ranked *r, const struct tell_ranked *told,
                     struct store *store)
{
    struct tell_ranked *own = NULL; /* whose facts are of a lot that they see who are told */
    json_decref(r->told);
    if (!seen_all(store) && tell_rank(round->setup->triage, store, r->case_id, &own, NULL))
        own = NULL;
    r->told = tell_ranked_json(own ? own : told, store);
    tell_ranked_free(own);
    add_logged(round, r, store);
    logged_case_doubts(&round->setup->desk, store, r->case_id, r->told);
    if (json_is_true(json_object_get(r->told, "harm")) || may_harm(r))
        add_spoken(round, r, store);
}

/* What becomes of its mail is decided on what is kept, so that a restart decides the same. */
static void decide_mail(struct round *round, struct ranked *r, const struct tell_ranked *told,
                        struct store *store)
{
    struct ranking was = {0};
    bool mailed = ranking_last_mailed(store, r->case_id, &was, NULL) == 0;
    const char *why = event_case_reason(mailed ? &was : NULL, &r->ranking);
    ranking_clear(&was);
    bool again = strcmp(round->kind, WORK_AGAIN) == 0;
    if (!why || (again && !mailed)) /* who was told nothing has no news */
        return;
    r->ranking.why = xstrdup(why);
    if (again || is_told_together(round, r))
        return;
    event_message_id(round->setup->desk.mail_domain, app_now_ms(round->app), r->message_id,
                     sizeof r->message_id);
    plants_tell(round->setup, store, plants_of_case(round->setup, store, r->case_id));
    tell_all(round, r, told, store);
    plants_leave(store);
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
    struct tell_ranked *told = NULL;
    r->case_id = r->row.subject_id;
    int rc = tell_rank(round->setup->triage, store, r->case_id, &told, &err);
    r->made = rc == 0;
    r->gone = rc == ERROR_NOT_FOUND;
    if (rc && !r->gone)
        log_write(&round->app->log, LOG_LEVEL_ERROR, "cannot rank case=%s why=\"%s\"",
                  CASE_ID(r->case_id), err.text);
    if (rc)
        return;
    tell_ranked_keep(told, &r->ranking);
    r->told = tell_ranked_harm(told);
    add_logged(round, r, store);
    if (ranking_get(store, r->case_id, 0, &now, NULL) == 0) {
        r->same = ranking_same(&now, &r->ranking);
        ranking_clear(&now);
    }
    if (!r->same)
        decide_mail(round, r, told, store);
    tell_ranked_free(told);
}

static void rank_one(struct round *round, struct ranked *r, struct store *store)
{
    bool began = store_look(store);
    rank_looked(round, r, store);
    store_unlook(store, began);
}

/* Null of one that was not weighed yet. */
static json_t *follow_of(struct round *round, const struct ranked *r, struct store *store)
{
    struct follow_row row = {0};
    int32_t today = tz_day(round->setup->tz, app_now_ms(round->app));
    if (follow_get(store, r->case_id, &row, NULL) || row.since_ms == WHEN_UNKNOWN_MS)
        return json_null();
    json_t *follow = json_object();
    following_case_json(&row, json_is_true(json_object_get(r->told, "harm")), today, follow);
    json_object_del(follow, "overdue"); /* a mail is read later */
    return follow;
}

static int save_mail(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    const struct ranking *ranking = &r->ranking;
    json_t *event = event_case(config_text(round->setup->config, "plant"), ranking->revision,
                               ranking->why, r->told);
    json_object_set(event, "made", r->lot);
    json_object_set(event, "said", r->said);
    json_object_set_new(event, "follow", follow_of(round, r, store));
    const struct outbox_new mail = {.event = "case",
                                    .case_id = r->case_id,
                                    .revision = ranking->revision,
                                    .message_id = r->message_id,
                                    .created_ms = app_now_ms(round->app)};
    return outgoing_add(store, &mail, event, err);
}

/* Weighed first: the mail says who owns it and by when it is due. */
static int save_made(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    int rc = r->same ? 0 : ranking_save(store, &r->ranking, err);
    if (!rc)
        rc = following_weigh(&round->setup->desk, store, r->case_id, may_harm(r),
                             app_now_ms(round->app), err);
    if (rc || r->same || !r->ranking.why)
        return rc;
    const char *later = strcmp(round->kind, WORK_AGAIN) == 0 ? WORK_NEWS
                        : is_told_together(round, r)         ? WORK_TOLD
                                                             : NULL;
    return later ? work_add(store, later, r->case_id, app_now_ms(round->app), err)
                 : save_mail(round, r, store, err);
}

static int save_one(struct round *round, struct ranked *r, struct store *store, struct error *err)
{
    bool waits = false, stands = false;
    int rc = work_stands(store, round->kind, &r->row, &stands, err);
    if (rc || !stands) /* a lost connection loses its claims: another daemon has saved it */
        return rc;
    rc = strcmp(round->kind, WORK_RANK) != 0
             ? work_waits(store, WORK_RANK, r->row.subject_id, &waits, err)
             : 0;
    if (rc || waits) /* saved now, without a mail, it would be no news to who ranks it for QA */
        return rc ? rc : work_done(store, round->kind, &r->row, err);
    if (!r->made && !r->gone)
        return work_retry(store, round->kind, &r->row, app_now_ms(round->app) + RETRY_MS, err);
    rc = r->made ? save_made(round, r, store, err) : 0;
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
    log_write(&round->app->log, LOG_LEVEL_ERROR, "cannot save the ranking case=%s why=\"%s\"",
              CASE_ID(r->case_id), why.text);
    return work_retry(store, round->kind, &r->row, app_now_ms(round->app) + RETRY_MS, err);
}

static int save_round(struct store *store, void *arg, struct error *err)
{
    struct round *round = arg;
    int rc = 0;
    for (int i = 0; i < round->count && !rc; i++)
        rc = save_apart(round, &round->ranked[i], store, err);
    return rc;
}

/* The first that no other daemon is at, nor has done since they were read. */
static int claim(struct round *round, const struct work_rows *due, struct store *store,
                 struct error *err)
{
    int rc = 0;
    for (int i = 0; i < due->count && round->count < ROUND && !rc; i++) {
        bool stands = false;
        if (!claim_take(store, CLAIM_CASE, due->row[i].subject_id))
            continue;
        rc = work_stands(store, round->kind, &due->row[i], &stands, err);
        if (stands)
            round->ranked[round->count++].row = due->row[i];
        else
            claim_drop(store, CLAIM_CASE, due->row[i].subject_id);
    }
    return rc;
}

static int rank_all(struct round *round, const struct work_rows *due, struct store *store,
                    bool *ret_mailed, struct error *err)
{
    int rc = claim(round, due, store, err);
    for (int i = 0; i < round->count && !rc; i++) {
        rank_one(round, &round->ranked[i], store);
        *ret_mailed |= round->ranked[i].ranking.why != NULL;
    }
    if (!rc && round->count)
        rc = writer_run(round->app->writer, save_round, round, err);
    for (int i = 0; i < round->count; i++)
        claim_drop(store, CLAIM_CASE, round->ranked[i].row.subject_id);
    return rc;
}

static void round_clear(struct round *round)
{
    for (int i = 0; i < round->count; i++) {
        ranking_clear(&round->ranked[i].ranking);
        json_decref(round->ranked[i].told);
        json_decref(round->ranked[i].said);
        json_decref(round->ranked[i].lot);
    }
}

/* Begun so, those of a file are told together to the last. */
static int look_together(struct round *round, struct store *store, struct error *err)
{
    int64_t waiting = 0, told = 0;
    if (strcmp(round->kind, WORK_BULK) != 0)
        return 0;
    int rc = work_count(store, WORK_BULK, &waiting, err);
    if (!rc)
        rc = work_count(store, WORK_TOLD, &told, err);
    round->together = told > 0 || waiting > config_number(round->setup->config, "mail/cases_apart");
    return rc;
}

bool reranking_round(struct app *app, struct setup *setup, struct store *store, const char *kind,
                     bool *ret_mailed)
{
    struct error err = {0};
    struct work_row row[LOOKED_AT];
    struct work_rows due = {row, 0, store_is_server(store) ? LOOKED_AT : ROUND};
    struct round round = {.app = app, .setup = setup, .kind = kind};
    *ret_mailed = false;
    int rc = work_due(store, kind, app_now_ms(app), &due, &err);
    if (!rc)
        rc = look_together(&round, store, &err);
    if (!rc)
        rc = rank_all(&round, &due, store, ret_mailed, &err);
    round_clear(&round);
    if (rc)
        log_seldom(&app->log, &app->told, clock_monotonic_ms(), "cannot save rankings why=\"%s\"",
                   err.text);
    return !rc && round.count > 0;
}

/* The earliest day is the others' too. */
static int spread(struct store *store, void *arg, struct error *err)
{
    const struct work_rows *due = arg;
    int64_t first = due->row[0].subject_id;
    for (int i = 1; i < due->count; i++)
        first = due->row[i].subject_id < first ? due->row[i].subject_id : first;
    int rc = work_rank_since(store, (int32_t)first, due->row[0].due_ms, err);
    for (int i = 0; i < due->count && !rc; i++)
        rc = work_done(store, WORK_SINCE, &due->row[i], err);
    return rc;
}

bool reranking_spread(struct app *app, struct store *store)
{
    struct error err = {0};
    struct work_row row[64];
    struct work_rows due = {row, 0, sizeof row / sizeof *row};
    int rc = work_due(store, WORK_SINCE, app_now_ms(app), &due, &err);
    if (!rc && due.count)
        rc = writer_run(app->writer, spread, &due, &err);
    if (rc)
        log_seldom(&app->log, &app->told, clock_monotonic_ms(),
                   "cannot queue what is to be ranked again why=\"%s\"", err.text);
    return !rc && due.count > 0;
}
