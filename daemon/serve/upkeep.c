#include "serve/upkeep.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/event.h"
#include "patterns/week.h"
#include "records/apply.h"
#include "serve/due_mail.h"
#include "serve/plants.h"
#include "store/clock_mark.h"
#include "store/contact.h"
#include "store/erasures.h"
#include "store/load_part.h"
#include "store/mailed_last.h"
#include "store/outbox.h"
#include <stdlib.h>
#include <string.h>

enum { ADOPT_MS = 15000 };

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

struct digest_mail {
    char message_id[128], *payload; /* payload NULL: none */
    int64_t case_id;                /* of a plant's: one of its */
};

struct digest {
    char key[sizeof MAILED_LAST_DIGEST + LENGTH_CODE + 2], week[16];
    struct iso_week last;
    struct digest_mail whole, mail[CONFIG_PLANTS]; /* none: only remember the week */
    int64_t now_ms;
};

static int add_digest(struct store *store, const struct digest *d, const struct digest_mail *mail,
                      struct error *err)
{
    const struct outbox_new row = {.event = "digest",
                                   .case_id = mail->case_id,
                                   .message_id = mail->message_id,
                                   .payload = mail->payload,
                                   .created_ms = d->now_ms};
    return mail->payload ? outbox_add(store, &row, err) : 0;
}

static int queue_digest(struct store *store, void *arg, struct error *err)
{
    struct digest *d = arg;
    char *done = NULL;
    int rc = store_setting_get(store, d->key, &done, err);
    bool is_done = done && strcmp(done, d->week) == 0;
    free(done);
    if (rc || is_done) /* by another daemon, meanwhile */
        return rc;
    rc = add_digest(store, d, &d->whole, err);
    for (int plant = 0; plant < CONFIG_PLANTS && !rc; plant++)
        rc = add_digest(store, d, &d->mail[plant], err);
    return rc ? rc : store_setting_set(store, d->key, d->week, err);
}

/* Of one plant, or of all. */
static int make_one(const struct setup *setup, struct store *store, struct week_query query,
                    int plant, struct digest_mail *mail, struct error *err)
{
    char name[16];
    json_t *week = NULL;
    query.plant = plant == CONFIG_COMPANY ? NULL : config_plant_name(setup->config, plant);
    mail->case_id = query.plant ? plants_case(setup, store, plant) : 0;
    if (query.plant && !mail->case_id)
        return 0; /* nobody complained of it yet */
    plants_tell(setup, store, plant);
    int rc = week_report(store, setup->tz, setup->triage, &query, &week, err);
    plants_leave(store);
    if (rc)
        return rc;
    iso_week_format(query.week, name);
    event_digest_id(setup->desk.mail_domain, name, query.plant, mail->message_id,
                    sizeof mail->message_id);
    json_t *event = event_digest(config_text(setup->config, "plant"), week);
    mail->payload = jsonx_dump(event);
    json_decref(event);
    json_decref(week);
    return 0;
}

static int make_digest(const struct setup *setup, struct store *store, int group, struct digest *d,
                       struct error *err)
{
    const struct week_query query = {.week = d->last,
                                     .now_ms = d->now_ms,
                                     .targets = setup->targets,
                                     .harm = setup->desk.harm,
                                     .desk = &setup->desk};
    bool began = store_look(store);
    int rc = group == CONFIG_COMPANY ? make_one(setup, store, query, group, &d->whole, err) : 0;
    for (int plant = 0; plant < config_plant_count(setup->config) && !rc; plant++)
        if (plants_have_list(setup, plant) && plants_group(setup, plant) == group)
            rc = make_one(setup, store, query, plant, &d->mail[plant], err);
    if (!rc) /* what names a case may have failed within a list */
        rc = store_failed(store, err);
    store_unlook(store, began);
    return rc;
}

/* Last week's digest is due from Monday's hour on and is queued once: its Message-ID is the
 * week's, so even a lost setting could not queue it twice. A new daemon begins with the next
 * Monday: the weeks before it was there are not its to report. */
static int group_digest_if_due(struct app *app, const struct setup *setup, struct store *store,
                               int group, struct error *err)
{
    struct digest d = {.now_ms = app_now_ms(app)};
    const struct tz *tz = plants_tz(setup, group);
    int32_t today = tz_day(tz, d.now_ms);
    char *done = NULL;
    d.last = iso_week_add(iso_week_of(today), -1);
    if (day_of_week(today) == 1 &&
        tz_civil(tz, d.now_ms).hour < config_number(setup->config, "mail/digest_hour"))
        return 0;
    plants_key(setup, MAILED_LAST_DIGEST, group, d.key, sizeof d.key);
    iso_week_format(d.last, d.week);
    int rc = store_setting_get(store, d.key, &done, err);
    bool is_new = !rc && !done, is_done = done && strcmp(done, d.week) == 0;
    free(done);
    if (rc || is_done)
        return rc;
    rc = is_new ? 0 : make_digest(setup, store, group, &d, err);
    if (!rc)
        rc = writer_run(app->writer, queue_digest, &d, err);
    free(d.whole.payload);
    for (int plant = 0; plant < CONFIG_PLANTS; plant++)
        free(d.mail[plant].payload);
    return rc;
}

static int digest_if_due(struct app *app, const struct setup *setup, struct store *store,
                         struct error *err)
{
    int rc = group_digest_if_due(app, setup, store, CONFIG_COMPANY, err);
    for (int plant = 0; plant < config_plant_count(setup->config) && !rc; plant++)
        if (plants_group(setup, plant) == plant && plants_have_list(setup, plant))
            rc = group_digest_if_due(app, setup, store, plant, err);
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

/* Its sender's daemon commits a slice of it in a second at most. */
static bool stands_still(struct upkeep *u, const struct load_file *first)
{
    int64_t now_ms = clock_monotonic_ms();
    bool same = strcmp(u->load.id, first->id) == 0 && u->load.applied == first->applied;
    if (!same) {
        memcpy(u->load.id, first->id, sizeof u->load.id);
        u->load.applied = first->applied;
        u->load.since_ms = now_ms;
    }
    return same && now_ms - u->load.since_ms >= ADOPT_MS;
}

void upkeep_adopt(struct upkeep *u, struct store *store)
{
    struct load_file first;
    struct error err = {0};
    bool found = false;
    int rc = store_is_server(store) ? load_file_next(store, &first, &found, &err) : 0;
    if (rc || !found || !stands_still(u, &first))
        return;
    log_write(&u->app->log, LOG_LEVEL_INFO, "an accepted file is gone on with source=\"%s\"",
              first.source);
    rc = load_continue(u->app->writer, u->app->state_dir, &err);
    if (rc)
        log_seldom(&u->app->log, &u->app->told, clock_monotonic_ms(),
                   "it cannot be gone on with why=\"%s\"", err.text);
}

/* What was erased at another daemon is in this one's file, too: any of them may be the one that is
 * there after a dump was put back. */
static int tidy(struct store *store, void *arg, struct error *err)
{
    char before[UUID_TEXT];
    uuid_v7(*(const int64_t *)arg - WHEN_DAY_MS, before);
    int rc = load_part_drop_strays(store, before, err);
    return rc ? rc : erasures_write(store, err);
}

/* What was sent in the day before and never accepted may be on its way still. */
static int go_on_with_loads(struct app *app, struct error *err)
{
    int64_t now_ms = app_now_ms(app);
    return writer_is_on_server(app->writer) ? writer_run(app->writer, tidy, &now_ms, err)
                                            : load_continue(app->writer, app->state_dir, err);
}

void upkeep_run(struct upkeep *u, struct setup *setup, struct store *store, atomic_bool *stopping)
{
    struct error err = {0};
    struct app *app = u->app;
    load_forget(app->state_dir, app_now_ms(app));
    int rc = writer_run(app->writer, purge, app, &err);
    if (!rc)
        rc = go_on_with_loads(app, &err);
    tell_failed_loads(u, store);
    if (!rc)
        rc = digest_if_due(app, setup, store, &err);
    if (!rc)
        rc = due_mail_if_due(app, setup, store, &err);
    if (rc && !atomic_load(stopping))
        log_write(&app->log, LOG_LEVEL_ERROR, "housekeeping failed why=\"%s\"", err.text);
}
