#include "serve/rematching.h"
#include "base/text.h"
#include "desk/rematch.h"
#include "store/work.h"
#include <stdlib.h>

enum { ROWS = 16 };

struct rematching {
    struct app *app;
    struct rematch walk; /* under way while there are due ones */
    struct work_row row[ROWS];
    struct work_rows due;
};

static int finish(struct store *store, void *arg, struct error *err)
{
    const struct rematching *r = arg;
    int rc = 0;
    for (int i = 0; i < r->due.count && !rc; i++)
        rc = work_done(store, WORK_REMATCH, &r->row[i], err);
    return rc;
}

/* All that is due at once, and what would be soon, from the earliest day on. */
static int begin(struct rematching *r, const struct setup *setup, struct store *store,
                 struct error *err)
{
    int64_t first = INT64_MAX, now_ms = app_now_ms(r->app);
    r->due = (struct work_rows){r->row, 0, ROWS};
    int rc = work_due(store, WORK_REMATCH, now_ms, &r->due, err);
    if (!rc && r->due.count)
        rc = work_due(store, WORK_REMATCH, now_ms + WHEN_HOUR_MS, &r->due, err);
    if (rc || !r->due.count)
        return rc;
    for (int i = 0; i < r->due.count; i++)
        first = r->row[i].subject_id < first ? r->row[i].subject_id : first;
    r->walk = (struct rematch){.writer = r->app->writer,
                               .since_ms = tz_day_start_ms(setup->tz, (int32_t)first)};
    return 0;
}

static int go_on(struct rematching *r, struct setup *setup, struct store *store, struct error *err)
{
    int rc = r->due.count ? 0 : begin(r, setup, store, err);
    if (rc || !r->due.count)
        return rc;
    r->walk.desk = &setup->desk;
    rc = rematch_slice(&r->walk, store, app_now_ms(r->app), err);
    if (rc || !r->walk.through)
        return rc;
    rc = writer_run(r->app->writer, finish, r, err);
    r->due.count = 0;
    if (!rc && r->walk.seen)
        log_write(&r->app->log, LOG_LEVEL_INFO, "lots matched again complaints=%lld placed=%lld",
                  (long long)r->walk.seen, (long long)r->walk.placed);
    return rc;
}

bool rematching_round(struct rematching *r, struct setup *setup, struct store *store)
{
    struct error err = {0};
    if (go_on(r, setup, store, &err) == 0)
        return r->due.count > 0;
    log_seldom(&r->app->log, &r->app->told, clock_monotonic_ms(),
               "cannot match complaints again why=\"%s\"", err.text);
    r->due.count = 0;
    return false;
}

struct rematching *rematching_new(struct app *app)
{
    struct rematching *r = xcalloc(1, sizeof *r);
    r->app = app;
    return r;
}

void rematching_free(struct rematching *r)
{
    free(r);
}
