#include "serve/news.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/words.h"
#include "desk/event.h"
#include "serve/plants.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/outbox.h"
#include "store/ranking.h"
#include "store/work.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

enum { NEWS_TOLD = 50 }; /* cases that the mail names; the others it counts */
/* Cases of one kind of work are told once none is left of another. */
struct cause_of_news {
    const char *told, *ranked; /* store/work.h */
    const char *of;            /* the event's */
};
static const struct cause_of_news CAUSES[] = {{WORK_NEWS, WORK_AGAIN, "rules"},
                                              {WORK_TOLD, WORK_BULK, "file"}};

/* To one plant's list, or to the company's. */
struct news_mail {
    int64_t *cases; /* as they are told */
    int count;
    int64_t case_id; /* of a plant's: one of them */
    char message_id[128], *payload;
};

struct news {
    const struct cause_of_news *why;
    struct setup *setup;
    struct work_rows cases;               /* all of them */
    struct news_mail mail[CONFIG_PLANTS]; /* by the plant's place in the settings */
    struct news_mail rest;                /* the company's */
    int64_t now_ms;
};

static json_t *news_case(struct store *store, int64_t case_id)
{
    struct case_row row;
    struct ranking now = {0};
    json_t *told = NULL;
    struct follow_row follow = {0};
    char word[16];
    if (case_get(store, case_id, &row, NULL) || ranking_last_mailed(store, case_id, &now, NULL))
        return NULL;
    if (now.cause_count) {
        told = json_pack("{s:o, s:s, s:b, s:s, s:s, s:s, s:f, s:i}", "case", CASE_ID_JSON(row.id),
                         "symptom", row.symptom, "harm", row.harm, "lot", now.lot, "why", now.why,
                         "cause", now.causes[0].cause, "probability", now.causes[0].probability,
                         "complaints", row.complaints);
        plant_level_set(told, row.plant);
    }
    if (told && follow_get(store, case_id, &follow, NULL) == 0 &&
        follow.since_ms != WHEN_UNKNOWN_MS)
        json_object_set_new(
            told, "severity",
            json_string(words_at(WORDS_SEVERITIES, follow_severity(&follow), word, sizeof word)));
    ranking_clear(&now);
    return told;
}

struct urgency {
    int64_t case_id;
    int harm, severity, complaints;
};

/* The order of `cases --order urgent`. */
static int most_urgent_first(const void *a, const void *b)
{
    const struct urgency *x = a, *y = b;
    const int differ[] = {y->harm - x->harm, y->severity - x->severity,
                          y->complaints - x->complaints};
    for (size_t i = 0; i < sizeof differ / sizeof *differ; i++)
        if (differ[i])
            return differ[i];
    return (x->case_id < y->case_id) - (x->case_id > y->case_id);
}

/* The cases as they are told; the caller frees. */
static int64_t *in_order(const struct news *news, struct store *store)
{
    size_t count = (size_t)news->cases.count;
    struct urgency *all = xcalloc(count, sizeof *all);
    int64_t *ids = xcalloc(count, sizeof *ids);
    for (size_t i = 0; i < count; i++) {
        struct case_row row = {0};
        struct follow_row follow = {0};
        all[i].case_id = news->cases.row[i].subject_id;
        if (case_get(store, all[i].case_id, &row, NULL) ||
            follow_get(store, all[i].case_id, &follow, NULL))
            continue;
        all[i] = (struct urgency){all[i].case_id, row.harm, follow_severity(&follow),
                                  (int)row.complaints};
    }
    qsort(all, count, sizeof *all, most_urgent_first);
    for (size_t i = 0; i < count; i++)
        ids[i] = all[i].case_id;
    free(all);
    return ids;
}

/* To each plant's own people what is theirs, the rest to the company's. */
static void share_out(struct news *news, struct store *store)
{
    int64_t *ids = in_order(news, store);
    for (int i = 0; i < news->cases.count; i++) {
        int plant = plants_of_case(news->setup, store, ids[i]);
        struct news_mail *mail = plant == CONFIG_COMPANY ? &news->rest : &news->mail[plant];
        if (!mail->cases)
            mail->cases = xcalloc((size_t)news->cases.count, sizeof *mail->cases);
        mail->cases[mail->count++] = ids[i];
        mail->case_id = plant == CONFIG_COMPANY ? 0 : mail->cases[0];
    }
    free(ids);
}

static void news_event(const struct news *news, struct store *store, struct news_mail *mail)
{
    if (!mail->count)
        return;
    json_t *told = json_array();
    for (int i = 0; i < mail->count && i < NEWS_TOLD; i++) {
        json_t *one = news_case(store, mail->cases[i]);
        if (!one)
            continue;
        const char *title = triage_cause_title(news->setup->triage,
                                               json_string_value(json_object_get(one, "cause")));
        if (title)
            json_object_set_new(one, "title", json_string(title));
        json_array_append_new(told, one);
    }
    json_t *event = event_summary(config_text(news->setup->config, "plant"), mail->count,
                                  triage_hash(news->setup->triage), told);
    json_object_set_new(event, "of", json_string(news->why->of));
    mail->payload = jsonx_dump(event);
    json_decref(event);
    event_message_id(news->setup->desk.mail_domain, news->now_ms, mail->message_id,
                     sizeof mail->message_id);
}

static int add_mail(struct store *store, const struct news *news, const struct news_mail *mail,
                    struct error *err)
{
    const struct outbox_new row = {.event = "summary",
                                   .case_id = mail->case_id,
                                   .message_id = mail->message_id,
                                   .payload = mail->payload,
                                   .created_ms = news->now_ms};
    return mail->payload ? outbox_add(store, &row, err) : 0;
}

static int queue_news(struct store *store, void *arg, struct error *err)
{
    struct news *news = arg;
    bool stands = true;
    int rc = 0;
    for (int i = 0; i < news->cases.count && !rc && stands; i++)
        rc = work_stands(store, news->why->told, &news->cases.row[i], &stands, err);
    if (rc || !stands) /* another daemon tells them */
        return rc;
    rc = add_mail(store, news, &news->rest, err);
    for (int plant = 0; plant < CONFIG_PLANTS && !rc; plant++)
        rc = add_mail(store, news, &news->mail[plant], err);
    for (int i = 0; i < news->cases.count && !rc; i++)
        rc = work_done(store, news->why->told, &news->cases.row[i], err);
    return rc;
}

/* None while any is left that other rules may rank otherwise: one mail, not one a case. */
static int read_news(struct store *store, struct news *news, struct error *err)
{
    int64_t again = 0, count = 0;
    int rc = work_count(store, news->why->ranked, &again, err);
    if (!rc && !again)
        rc = work_count(store, news->why->told, &count, err);
    if (rc || !count)
        return rc;
    news->cases =
        (struct work_rows){xcalloc((size_t)count, sizeof *news->cases.row), 0, (int)count};
    return work_due(store, news->why->told, news->now_ms, &news->cases, err);
}

static void mail_clear(struct news_mail *mail)
{
    free(mail->cases);
    free(mail->payload);
}

static void tell(struct app *app, struct setup *setup, struct store *store,
                 const struct cause_of_news *why)
{
    struct error err = {0};
    struct news news = {.why = why, .setup = setup, .now_ms = app_now_ms(app)};
    int rc = read_news(store, &news, &err);
    if (!rc && news.cases.count) {
        share_out(&news, store);
        news_event(&news, store, &news.rest);
        for (int plant = 0; plant < CONFIG_PLANTS; plant++)
            news_event(&news, store, &news.mail[plant]);
        rc = writer_run(app->writer, queue_news, &news, &err);
    }
    if (rc)
        log_write(&app->log, LOG_LEVEL_ERROR, "cannot queue the summary why=\"%s\"", err.text);
    mail_clear(&news.rest);
    for (int plant = 0; plant < CONFIG_PLANTS; plant++)
        mail_clear(&news.mail[plant]);
    free(news.cases.row);
}

void news_tell(struct app *app, struct setup *setup, struct store *store)
{
    for (size_t i = 0; i < sizeof CAUSES / sizeof *CAUSES; i++)
        if (strcmp(CAUSES[i].ranked, WORK_BULK) != 0 || !app_in_bulk(app, store))
            tell(app, setup, store, &CAUSES[i]);
}
