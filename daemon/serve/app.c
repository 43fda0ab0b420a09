#include "serve/app.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/older.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "rank/calibration.h"
#include "rank/learning.h"
#include "store/erasures.h"
#include "store/pattern.h"
#include "store/work.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct setup *app_setup(struct app *app)
{
    pthread_mutex_lock(&app->lock);
    struct setup *setup = app->setup;
    __atomic_add_fetch(&setup->references, 1, __ATOMIC_RELAXED);
    pthread_mutex_unlock(&app->lock);
    return setup;
}

struct makers {
    const char *rules;
    int64_t now_ms;
};

static int rank_by(struct store *store, void *arg, struct error *err)
{
    const struct makers *by = arg;
    char name[160];
    snprintf(name, sizeof name, "%s %s", ODDLOAF_VERSION, by->rules);
    return work_rank_by(store, name, by->now_ms, err);
}

static int match_all_again(struct store *store, void *arg, struct error *err)
{
    const int64_t *now_ms = arg;
    return work_add(store, WORK_REMATCH, 0, *now_ms, err);
}

static bool same_levels(const struct lot_settle *a, const struct lot_settle *b)
{
    while (a->plant && b->plant && strcmp(a->plant, b->plant) == 0 && a->at == b->at) {
        a++;
        b++;
    }
    return !a->plant && !b->plant;
}

static bool same_lots(const struct setup *a, const struct setup *b)
{
    return lot_rules_mark(a->matcher) == lot_rules_mark(b->matcher) &&
           a->desk.settle_at == b->desk.settle_at && same_levels(a->settle_of, b->settle_of);
}

static int set_zone(struct store *store, void *arg, struct error *err)
{
    return pattern_set_up(store, arg, err);
}

/* Makes the weekly counts those of the time zone in force; does nothing if they are. */
static int count_weeks(struct app *app, struct error *err)
{
    struct setup *setup = app_setup(app);
    int rc = writer_insist(app->writer, set_zone, setup->tz, err);
    setup_unref(setup);
    return rc;
}

struct taking_in {
    const struct desk *desk;
    int count;
};

static int take_in(struct store *store, void *arg, struct error *err)
{
    struct taking_in *t = arg;
    return older_take_in(t->desk, store, &t->count, err);
}

static int erase_again(struct store *store, void *arg, struct error *err)
{
    return erasures_apply(store, arg, err);
}

int app_take_in(struct app *app, struct error *err)
{
    struct setup *setup = app_setup(app);
    struct taking_in t = {&setup->desk, 1};
    int rc = 0, erased = 0;
    while (!rc && t.count > 0)
        rc = writer_insist(app->writer, take_in, &t, err);
    if (!rc)
        rc = writer_insist(app->writer, erase_again, &erased, err);
    if (!rc && erased) {
        log_write(&app->log, LOG_LEVEL_INFO, "contact data erased again count=%d", erased);
        app_checkpoint(app);
    }
    setup_unref(setup);
    return rc;
}

/* Makes open cases due if other rules or another version made their rankings last. */
static int rank_again(struct app *app, struct error *err)
{
    struct setup *setup = app_setup(app);
    char hash[TRIAGE_HASH];
    struct makers by = {triage_hash_of_all(setup->triage, hash), app_now_ms(app)};
    int rc = writer_insist(app->writer, rank_by, &by, err);
    setup_unref(setup);
    return rc;
}

int app_settle(struct app *app, struct error *err)
{
    struct error why = {0};
    char text[1024];
    bool was = app_is_unsettled(app);
    int rc = count_weeks(app, &why);
    if (!rc)
        rc = rank_again(app, &why);
    if (!rc)
        rc = was ? load_continue(app->writer, app->state_dir, &why)
                 : load_resume(app->writer, app->state_dir, &why);
    __atomic_store_n(&app->unsettled, rc == ERROR_NO_SPACE, __ATOMIC_RELAXED);
    if (rc == ERROR_NO_SPACE && !was)
        log_write(
            &app->log, LOG_LEVEL_ERROR,
            "the disk is full: what is there is answered, mail that waits leaves, and nothing "
            "is ranked until there is room: %s",
            error_format(&why, text, sizeof text));
    else if (!rc && was)
        log_write(&app->log, LOG_LEVEL_INFO, "the disk has room again");
    if (rc && rc != ERROR_NO_SPACE && err && !err->code)
        *err = why;
    return rc == ERROR_NO_SPACE ? 0 : rc;
}

bool app_is_unsettled(struct app *app)
{
    return __atomic_load_n(&app->unsettled, __ATOMIC_RELAXED);
}

struct decision {
    const char *key;
    char *kept;
};

static int read_decision(struct store *store, void *arg, struct error *err)
{
    struct decision *decision = arg;
    free(decision->kept); /* of a job that was undone and runs again */
    decision->kept = NULL;
    return store_setting_get(store, decision->key, &decision->kept, err);
}

static const struct {
    const char *key;
    int (*apply)(struct triage *triage, const json_t *kept, struct error *err);
} DECISIONS[SETUP_DECISIONS] = {{CALIBRATION_SETTING, calibration_apply},
                                {LEARNING_SETTING, learning_apply}};

int app_decide(struct app *app, struct setup *setup, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; !rc && i < SETUP_DECISIONS; i++) {
        struct decision decision = {.key = DECISIONS[i].key};
        json_t *kept = NULL;
        rc = writer_insist(app->writer, read_decision, &decision, err);
        if (!rc && decision.kept)
            rc = jsonx_parse(decision.kept, strlen(decision.kept), &kept, err);
        if (!rc && kept)
            rc = DECISIONS[i].apply(setup->triage, kept, err);
        json_decref(kept);
        free(setup->decided[i]);
        setup->decided[i] = decision.kept;
    }
    return rc;
}

bool app_is_decided(struct app *app, struct store *store)
{
    struct setup *setup = app_setup(app);
    bool same = true;
    for (size_t i = 0; same && i < SETUP_DECISIONS; i++) {
        char *kept = NULL;
        const char *ours = setup->decided[i];
        int rc = store_setting_get(store, DECISIONS[i].key, &kept, NULL);
        same = rc || (kept && ours ? strcmp(kept, ours) == 0 : !kept && !ours);
        free(kept);
    }
    setup_unref(setup);
    return same;
}

/* ---- reloading ---- */

/* Returns the set that was in force until now, for the caller to drop; NULL if the new one was
 * refused. */
static struct setup *swap_setup(struct app *app, struct setup *fresh, const struct error *err)
{
    struct setup *old = NULL;
    pthread_mutex_lock(&app->lock);
    if (!fresh) {
        error_format(err, app->reload_error, sizeof app->reload_error);
    } else {
        fresh->loaded_ms = app_now_ms(app);
        old = app->setup;
        app->setup = fresh;
        app->reload_error[0] = '\0';
    }
    pthread_mutex_unlock(&app->lock);
    return old;
}

static int load_fresh(struct app *app, const struct setup *in_force, struct setup **ret,
                      struct error *err)
{
    int rc = setup_load(app->config_path, app->rules_dir, in_force, ret, &app->log, err);
    if (!rc)
        rc = setup_check_mail(*ret, &app->log, err);
    if (!rc)
        rc = app_decide(app, *ret, err);
    if (!rc)
        rc = readers_resize(app->readers, (int)config_number((*ret)->config, "readers"), err);
    return rc;
}

/* What the store owes the new set. It is in force whatever comes of this. */
static void follow_up(struct app *app, bool lots_changed)
{
    struct error err = {0};
    char text[1024];
    int64_t now_ms = app_now_ms(app);
    int rc = count_weeks(app, &err);
    if (!rc)
        rc = rank_again(app, &err);
    if (!rc && lots_changed)
        rc = writer_insist(app->writer, match_all_again, &now_ms, &err);
    app_wake(app);
    if (!rc)
        return;
    log_write(&app->log, LOG_LEVEL_ERROR,
              "the new rules and settings are in force, but what was counted and ranked before "
              "stays as it was: %s; reload again",
              error_format(&err, text, sizeof text));
    pthread_mutex_lock(&app->lock);
    text_clip(text, app->reload_error, sizeof app->reload_error);
    pthread_mutex_unlock(&app->lock);
}

static void log_kept(const struct app *app, const struct setup *fresh)
{
    size_t i;
    json_t *key;
    json_array_foreach(fresh->needs_restart, i, key)
    {
        log_write(&app->log, LOG_LEVEL_WARNING,
                  "needs a restart: setting %s was changed, and stays as it was until then",
                  json_string_value(key));
    }
}

static int reload(struct app *app, struct error *err)
{
    struct setup *fresh = NULL, *old = app_setup(app);
    int rc = load_fresh(app, old, &fresh, err);
    if (rc) {
        setup_unref(fresh);
        setup_unref(old);
        swap_setup(app, NULL, err);
        return rc;
    }
    bool lots_changed = !same_lots(old, fresh);
    const size_t queue = (size_t)config_number(fresh->config, "queue");
    readers_set_limit(app->readers, queue);
    readers_set_limit(app->bulk, queue);
    readers_set_limit(app->study, queue);
    writer_set_limit(app->writer, queue);
    setup_unref(swap_setup(app, fresh, NULL));
    setup_unref(old);
    log_kept(app, fresh);
    if (app->reloaded)
        app->reloaded(app->reloaded_arg);
    follow_up(app, lots_changed);
    return 0;
}

int app_reload(struct app *app, struct error *err)
{
    pthread_mutex_lock(&app->reloading);
    int rc = reload(app, err);
    pthread_mutex_unlock(&app->reloading);
    return rc;
}

int64_t app_now_ms(const struct app *app)
{
    return clock_now_ms(&app->clock);
}

int64_t app_uptime_ms(const struct app *app)
{
    return clock_monotonic_ms() - app->started_monotonic_ms;
}

void app_wake(struct app *app)
{
    if (app->wake)
        app->wake(app->wake_arg);
}

enum { BULK_MS = 2000 }; /* longer than any batch takes to come and be written */

void app_bulk_now(struct app *app)
{
    __atomic_store_n(&app->bulk_ms, clock_monotonic_ms(), __ATOMIC_RELAXED);
}

static bool others_bulk(struct app *app, struct store *store)
{
    int64_t last_ms = 0, now_ms = app_now_ms(app);
    return store && store_is_server(store) &&
           work_newest(store, WORK_BULK, now_ms, &last_ms, NULL) == 0 && now_ms - last_ms < BULK_MS;
}

bool app_in_bulk(struct app *app, struct store *store)
{
    int64_t last_ms = __atomic_load_n(&app->bulk_ms, __ATOMIC_RELAXED);
    bool here = last_ms && clock_monotonic_ms() - last_ms < BULK_MS;
    return here || others_bulk(app, store);
}

static int checkpoint(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    (void)err;
    /* inside a transaction it cannot run; asking for it makes the writer do so after the commit */
    store_checkpoint_soon(store);
    return 0;
}

static void checkpoint_done(void *arg, int code, const struct error *err)
{
    (void)arg;
    (void)code;
    (void)err;
}

void app_checkpoint(struct app *app)
{
    writer_submit(app->writer, &(struct writer_job){checkpoint, checkpoint_done, NULL});
}
