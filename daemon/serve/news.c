#include "serve/news.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/event.h"
#include "store/case.h"
#include "store/outbox.h"
#include "store/ranking.h"
#include "store/work.h"
#include "tell/tell.h"
#include <stdlib.h>

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

void news_tell(struct app *app, struct setup *setup, struct store *store)
{
    struct error err = {0};
    struct news news = {.setup = setup, .now_ms = app_now_ms(app)};
    int rc = read_news(store, &news, &err);
    if (!rc && news.cases.count) {
        news_event(&news, store);
        event_message_id(setup->desk.mail_domain, news.now_ms, news.message_id,
                         sizeof news.message_id);
        rc = writer_run(app->writer, queue_news, &news, &err);
    }
    if (rc)
        log_write(&app->log, LOG_LEVEL_ERROR, "cannot queue the summary why=\"%s\"", err.text);
    free(news.payload);
    free(news.cases.row);
}
