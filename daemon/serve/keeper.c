#include "serve/keeper.h"
#include "base/text.h"
#include "store/backup.h"
#include "store/backup_last.h"
#include "store/integrity.h"
#include "store/retention.h"
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

enum {
    KEEPER_NICE = 10,
    TICK_S = 1,
    LOOK_EVERY_MS = 60000,        /* is anything due? */
    FIRST_BACKUP_MS = 600000,     /* after the start, where there never was one */
    RETAIN_EVERY_MS = 3600000,    /* and a first time with the first look */
    RETAIN_ROWS = 500,            /* a writer's job: no complaint waits long for it */
    BACKUP_AGAIN_MS = 10 * 60000, /* after one that failed */
};

struct keeper {
    struct app *app;
    struct readers *own;
    struct event *tick;
    atomic_bool busy, stopping;
    bool checked;                              /* the thread's own, as are these: monotonic */
    int64_t looked_ms, retained_ms, failed_ms; /* when last; 0: not yet */
    pthread_mutex_t lock;
    struct keeper_told told; /* under the lock */
};

/* ---- is it whole? ---- */

static void check(struct keeper *k, struct store *store)
{
    struct error damage = {0};
    char text[1024];
    int64_t began_ms = clock_monotonic_ms();
    int rc = integrity_check(store, &k->stopping, &damage);
    if (rc == ERROR_BUSY)
        return;
    k->checked = true;
    pthread_mutex_lock(&k->lock);
    k->told.checked_ms = app_now_ms(k->app);
    k->told.damage = damage;
    pthread_mutex_unlock(&k->lock);
    if (rc)
        log_write(&k->app->log, LOG_LEVEL_ERROR, "integrity check: %s",
                  error_format(&damage, text, sizeof text));
    else
        log_write(&k->app->log, LOG_LEVEL_INFO, "integrity check: the database is sound ms=%lld",
                  (long long)(clock_monotonic_ms() - began_ms));
}

/* ---- backups ---- */

static bool backup_is_due(const struct keeper *k, struct store *store, int64_t every_h)
{
    struct backup_last last;
    int64_t now_ms = app_now_ms(k->app);
    if (every_h == 0 || store_is_server(store) || backup_last_get(store, &last, NULL))
        return false;
    if (k->failed_ms && clock_monotonic_ms() - k->failed_ms < BACKUP_AGAIN_MS)
        return false;
    if (last.at_ms == WHEN_UNKNOWN_MS)
        return app_uptime_ms(k->app) >= FIRST_BACKUP_MS;
    /* one of a time to come was made by a clock that has been put back since */
    return !last.is_there || now_ms - last.at_ms >= every_h * WHEN_HOUR_MS || last.at_ms > now_ms;
}

static void back_up(struct keeper *k, struct store *store, int keep)
{
    struct error err = {0};
    char text[1024], *path = NULL;
    int64_t now_ms = app_now_ms(k->app);
    int rc = backup_make_dated(store, k->app->state_dir, keep, now_ms, &path, &err);
    if (!rc)
        rc = backup_last_note(k->app->writer, path, now_ms, &err);
    k->failed_ms = rc ? clock_monotonic_ms() : 0;
    pthread_mutex_lock(&k->lock);
    k->told.unbacked = err;
    pthread_mutex_unlock(&k->lock);
    if (rc)
        log_write(&k->app->log, LOG_LEVEL_ERROR, "no backup was made: %s",
                  error_format(&err, text, sizeof text));
    else
        log_write(&k->app->log, LOG_LEVEL_INFO, "backed up path=%s keep=%d", path, keep);
    free(path);
}

/* ---- what has been kept long enough ---- */

struct retaining {
    struct retention rule;
    int64_t now_ms;
    int dropped;
};

static int retain(struct store *store, void *arg, struct error *err)
{
    struct retaining *r = arg;
    return retention_round(store, &r->rule, r->now_ms, RETAIN_ROWS, &r->dropped, err);
}

static void let_go(struct keeper *k, const struct config *config)
{
    struct error err = {0};
    struct retaining r = {.rule = {.rankings_days = config_number(config, "keep/rankings_days"),
                                   .mail_days = config_number(config, "keep/mail_days"),
                                   .replaced_days = config_number(config, "keep/replaced_days"),
                                   .loads_days = config_number(config, "keep/loads_days"),
                                   .photos_days = config_number(config, "keep/photos_days")},
                          .now_ms = app_now_ms(k->app)};
    int64_t total = 0;
    int rc = 0;
    do {
        rc = writer_run(k->app->writer, retain, &r, &err);
        total += rc ? 0 : r.dropped;
    } while (!rc && r.dropped && !atomic_load(&k->stopping));
    if (rc)
        log_write(&k->app->log, LOG_LEVEL_ERROR, "old rows stay for now why=\"%s\"", err.text);
    else if (total)
        log_write(&k->app->log, LOG_LEVEL_INFO, "rows kept long enough were dropped count=%lld",
                  (long long)total);
}

/* ---- rounds ---- */

static void keeper_round(struct store *store, void *arg)
{
    struct keeper *k = arg;
    setpriority(PRIO_PROCESS, 0, KEEPER_NICE); /* of this thread alone, on Linux */
    struct setup *setup = app_setup(k->app);
    int64_t now_ms = clock_monotonic_ms();
    if (!k->checked && !store_is_server(store))
        check(k, store);
    k->looked_ms = now_ms;
    if (!atomic_load(&k->stopping) &&
        backup_is_due(k, store, config_number(setup->config, "backup/every_h")))
        back_up(k, store, (int)config_number(setup->config, "backup/keep"));
    if (!atomic_load(&k->stopping) &&
        (!k->retained_ms || now_ms - k->retained_ms >= RETAIN_EVERY_MS)) {
        k->retained_ms = now_ms;
        let_go(k, setup->config);
    }
    setup_unref(setup);
    atomic_store(&k->busy, false);
}

static void keeper_refused(void *arg)
{
    struct keeper *k = arg;
    atomic_store(&k->busy, false);
}

static void keeper_on_tick(evutil_socket_t fd, short what, void *arg)
{
    struct keeper *k = arg;
    (void)fd;
    (void)what;
    if (atomic_load(&k->stopping) || atomic_load(&k->busy))
        return;
    if (k->looked_ms && clock_monotonic_ms() - k->looked_ms < LOOK_EVERY_MS)
        return;
    atomic_store(&k->busy, true);
    if (readers_submit(k->own, &(struct reader_job){keeper_round, keeper_refused, k}))
        keeper_refused(k);
}

int keeper_start(struct event_base *base, struct app *app, struct keeper **ret, struct error *err)
{
    struct keeper *k = xcalloc(1, sizeof *k);
    int rc = readers_start(app->state_dir, 1, 1, &k->own, err);
    if (rc) {
        free(k);
        return rc;
    }
    k->app = app;
    k->told.checked_ms = WHEN_UNKNOWN_MS;
    pthread_mutex_init(&k->lock, NULL);
    k->tick = event_new(base, -1, EV_PERSIST, keeper_on_tick, k);
    const struct timeval every = {TICK_S, 0};
    event_add(k->tick, &every);
    event_active(k->tick, EV_TIMEOUT, 0);
    *ret = k;
    return 0;
}

void keeper_close(struct keeper *k)
{
    if (!k)
        return;
    atomic_store(&k->stopping, true);
    readers_close(k->own);
}

void keeper_free(struct keeper *k)
{
    if (!k)
        return;
    keeper_close(k);
    readers_free(k->own);
    event_free(k->tick);
    pthread_mutex_destroy(&k->lock);
    free(k);
}

void keeper_tell(struct keeper *k, struct keeper_told *ret)
{
    pthread_mutex_lock(&k->lock);
    *ret = k->told;
    pthread_mutex_unlock(&k->lock);
}
