#include "serve/background.h"
#include "base/text.h"
#include "serve/decided.h"
#include "serve/news.h"
#include "serve/pace.h"
#include "serve/rematching.h"
#include "serve/reranking.h"
#include "serve/service.h"
#include "serve/sessions.h"
#include "serve/upkeep.h"
#include "serve/uploads.h"
#include "store/claim.h"
#include "store/work.h"
#include <stdatomic.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <unistd.h>

enum {
    BACKGROUND_NICE = 10, /* a tenth of the processor time of a desk's thread, if they compete */
    TICK_S = 1,
    NAP_MS = 50,
    UPKEEP_EVERY_MS = 60000,
    WRITER_STUCK_MS = 60000
};

struct background {
    struct app *app;
    struct readers *own; /* one thread, of lower priority than the desk's */
    struct mailer *mailer;
    struct event *tick, *kick;
    atomic_bool busy, stopping;
    struct upkeep upkeep;
    int64_t kept_up_ms;
    struct rematching *rematching;
    bool lost; /* it was told that the database was taken away */
};

/* True if there may be more. */
static bool rank(struct background *bg, struct setup *setup, struct store *store, const char *kind)
{
    bool mailed = false;
    bool more = reranking_round(bg->app, setup, store, kind, &mailed);
    if (mailed && bg->mailer)
        mailer_wake(bg->mailer);
    return more;
}

static struct pace pace_now(const struct background *bg)
{
    return (struct pace){writer_counts(bg->app->writer).jobs, clock_monotonic_ms()};
}

/* As long as others write as they did. */
static void rest(const struct background *bg, struct pace since)
{
    struct pace now = pace_now(bg);
    bool busy = true;
    for (int64_t left_ms = pace_rest_ms(since, now); left_ms > 0 && busy; left_ms -= NAP_MS) {
        struct pace before = now;
        usleep(NAP_MS * 1000);
        now = pace_now(bg);
        busy = pace_is_busy(before, now) && !atomic_load(&bg->stopping);
    }
}

/* Where the disk was full at the start: is there room by now? */
static bool settle(struct background *bg)
{
    char text[1024];
    struct error err = {0};
    if (app_is_unsettled(bg->app) && app_settle(bg->app, &err))
        log_seldom(&bg->app->log, &bg->app->told, clock_monotonic_ms(),
                   "what the start put off fails: %s", error_format(&err, text, sizeof text));
    return !app_is_unsettled(bg->app);
}

/* What one of several daemons does at a time. */
typedef bool (*done_by_one)(struct background *bg, struct setup *setup, struct store *store);

static bool by_one(struct background *bg, struct setup *setup, struct store *store,
                   done_by_one what)
{
    if (!claim_take(store, CLAIM_HOUSE, 0))
        return false;
    bool more = what(bg, setup, store);
    claim_drop(store, CLAIM_HOUSE, 0);
    return more;
}

static bool match(struct background *bg, struct setup *setup, struct store *store)
{
    return rematching_round(bg->rematching, setup, store);
}

static bool spread(struct background *bg, struct setup *setup, struct store *store)
{
    (void)setup;
    return reranking_spread(bg->app, store);
}

static bool keep_up(struct background *bg, struct setup *setup, struct store *store)
{
    news_tell(bg->app, setup, store);
    upkeep_adopt(&bg->upkeep, store);
    int64_t now_ms = clock_monotonic_ms();
    if (atomic_load(&bg->stopping) || now_ms - bg->kept_up_ms < UPKEEP_EVERY_MS)
        return false;
    bg->kept_up_ms = now_ms;
    upkeep_run(&bg->upkeep, setup, store, &bg->stopping);
    return false;
}

static void background_round(struct store *store, void *arg)
{
    struct background *bg = arg;
    /* Of this thread alone, on Linux. Not the idle class: a thread of it that holds a lock (of a
     * cache, of the allocator) may not run at all on a busy machine, and the desk waits for it. */
    setpriority(PRIO_PROCESS, 0, BACKGROUND_NICE);
    struct setup *setup = app_setup(bg->app);
    sessions_expire(bg->app->sessions, clock_monotonic_ms());
    uploads_expire(bg->app->uploads, clock_monotonic_ms());
    const bool settled = settle(bg);
    for (bool more = settled; more && !atomic_load(&bg->stopping);) {
        struct pace begun = pace_now(bg);
        more = by_one(bg, setup, store, match);
        more = rank(bg, setup, store, WORK_RANK) || more;
        if (!more && !app_in_bulk(bg->app, store)) {
            more = by_one(bg, setup, store, spread);
            more = rank(bg, setup, store, WORK_BULK) || more;
            more = rank(bg, setup, store, WORK_AGAIN) || more;
        }
        if (more && bg->mailer)
            mailer_wake(bg->mailer);
        if (more)
            rest(bg, begun);
    }
    if (settled && !atomic_load(&bg->stopping))
        by_one(bg, setup, store, keep_up);
    setup_unref(setup);
    if (!atomic_load(&bg->stopping))
        decided_follow(bg->app, store);
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
    if (counts.lost.code == ERROR_LOST && writer_is_on_server(bg->app->writer) &&
        !__atomic_exchange_n(&bg->app->outdated, true, __ATOMIC_RELAXED))
        bg->app->stop(bg->app->stop_arg);
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
    bg->upkeep.app = app;
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
