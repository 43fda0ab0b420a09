#include "serve/upkeep.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/event.h"
#include "patterns/week.h"
#include "records/apply.h"
#include "serve/due_mail.h"
#include "store/clock_mark.h"
#include "store/contact.h"
#include "store/outbox.h"
#include <stdlib.h>
#include <string.h>

static int purge(struct store *store, void *arg, struct error *err)
{
    struct app *app = arg;
    int purged = 0;
    enum clock_mark clock = CLOCK_WAITING;
    int64_t now_ms = app_now_ms(app);
    int rc = clock_mark_look(store, now_ms, &clock, err);
    if (!rc && clock == CLOCK_STEPPED)
        log_write(&app->log, LOG_LEVEL_WARNING,
                  "the clock was stepped, or nobody ran for an hour: nothing is purged for a day");
    if (!rc && clock == CLOCK_STEADY)
        rc = contact_purge(store, now_ms, &purged, err);
    if (!rc && purged) {
        log_write(&app->log, LOG_LEVEL_INFO, "contact data purged count=%d", purged);
        app_checkpoint(app);
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

static int make_digest(struct app *app, struct setup *setup, struct store *store,
                       struct iso_week last, struct digest *d, struct error *err)
{
    json_t *week = NULL;
    struct week_query query = {.week = last, .now_ms = d->now_ms, .targets = setup->targets};
    int rc = week_report(store, setup->tz, setup->triage, &query, &week, err);
    if (rc)
        return rc;
    event_digest_id(setup->desk.mail_domain, d->week, d->message_id, sizeof d->message_id);
    json_t *event = event_digest(config_text(setup->config, "plant"), week);
    d->payload = jsonx_dump(event);
    json_decref(event);
    json_decref(week);
    return writer_run(app->writer, queue_digest, d, err);
}

/* Last week's digest is due from Monday's hour on and is queued once: its Message-ID is the
 * week's, so even a lost setting could not queue it twice. A new daemon begins with the next
 * Monday: the weeks before it was there are not its to report. */
static int digest_if_due(struct app *app, struct setup *setup, struct store *store,
                         struct error *err)
{
    struct digest d = {.now_ms = app_now_ms(app)};
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
    rc = is_new ? writer_run(app->writer, queue_digest, &d, err)
                : make_digest(app, setup, store, last, &d, err);
    free(d.payload);
    return rc;
}

/* Once a file: its sender may be long gone. */
static void tell_failed_loads(struct upkeep *u, struct store *store)
{
    struct load_file failed;
    int64_t count = 0;
    if (load_file_failed(store, &failed, &count, NULL) == 0 && count > u->failed_loads)
        log_write(&u->app->log, LOG_LEVEL_ERROR,
                  "accepted records could not be applied kind=%s source=\"%s\" applied_rows=%lld "
                  "kept=%s/loads/%s" APPLY_FAILED ": load that file again",
                  record_kind_table(failed.kind)->kind, failed.source, (long long)failed.applied,
                  u->app->state_dir, failed.id);
    u->failed_loads = count;
}

void upkeep_run(struct upkeep *u, struct setup *setup, struct store *store, atomic_bool *stopping)
{
    struct error err = {0};
    struct app *app = u->app;
    load_forget(app->state_dir, app_now_ms(app));
    int rc = writer_run(app->writer, purge, app, &err);
    if (!rc)
        rc = load_continue(app->writer, app->state_dir, &err);
    tell_failed_loads(u, store);
    if (!rc)
        rc = digest_if_due(app, setup, store, &err);
    if (!rc)
        rc = due_mail_if_due(app, setup, store, &err);
    if (rc && !atomic_load(stopping))
        log_write(&app->log, LOG_LEVEL_ERROR, "housekeeping failed why=\"%s\"", err.text);
}
