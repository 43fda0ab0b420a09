/* Backup, and the way back. */
#include "base/jsonx.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/backup.h"
#include "store/backup_last.h"
#include "store/place.h"
#include "store/restore.h"
#include <stdlib.h>
#include <sys/stat.h>

/* The body's member `name`, as a path of this machine. */
static int read_place(const struct request *rq, const char *name, char **ret, struct error *err)
{
    const char *named = "";
    json_t *body = NULL;
    int rc = place_refuse(rq->app->state_dir, "a backup", err);
    if (!rc)
        rc = request_json(rq, &body, err);
    if (!rc)
        rc = jsonx_string(body, name, &named, err);
    if (!rc)
        rc = backup_place(rq->app->state_dir, named ? named : "", ret, err);
    if (rc)
        error_field(err, name, NULL);
    json_decref(body);
    return rc;
}

void care_backup(struct request *rq, struct store *store)
{
    struct error err = {0};
    char *path = NULL;
    int rc = read_place(rq, "path", &path, &err);
    if (!rc)
        rc = backup_make(store, path, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        /* a daemon whose own file is gone still saves what it holds, and can't note it */
        backup_last_note(rq->app->writer, path, app_now_ms(rq->app), NULL);
        request_reply_json(rq, 200, json_pack("{s:o}", "backup", jsonx_outside(path)));
    }
    free(path);
}

/* The daemon answers, stops, restores and starts anew (main.c). One at a time. */
static int ask(struct app *app, const char *path, struct error *err)
{
    pthread_mutex_lock(&app->lock);
    bool first = !app->restore_file;
    if (first)
        app->restore_file = xstrdup(path);
    pthread_mutex_unlock(&app->lock);
    if (!first)
        return error_set(err, ERROR_BUSY, "a restore is under way");
    return 0;
}

/* With settings or rules that have been broken since it started, it would not come back. */
static int check_start(struct app *app, struct error *err)
{
    struct setup *next = NULL;
    int rc = setup_load(app->config_path, app->rules_dir, NULL, &next, &app->log, err);
    if (rc)
        error_hint(err, "with this the daemon would not start again: nothing is restored before it "
                        "is mended (oddloafd --check)");
    else
        setup_unref(next);
    return rc;
}

/* Within which it is back, but for a machine in trouble: the file is copied and read whole. From
 * memory: 10 MB a second of a busy disk, and half a minute for all else. */
static int64_t within_s(const char *path)
{
    enum { LEAST_S = 30, BYTES_A_S = 10000000 };
    struct stat st;
    return LEAST_S + (stat(path, &st) ? 0 : (int64_t)st.st_size / BYTES_A_S);
}

static json_t *restoring_json(struct app *app, const char *path)
{
    char started[40];
    struct setup *setup = app_setup(app);
    json_t *told = json_pack("{s:o, s:s, s:I}", "restoring", jsonx_outside(path), "started_at",
                             when_format_exact(setup->tz, app->started_ms, started), "within_s",
                             (json_int_t)within_s(path) +
                                 (json_int_t)config_number(setup->config, "limits/stop_s"));
    setup_unref(setup);
    return told;
}

static json_t *look_json(struct app *app, const char *path, const struct restore_foreseen *f)
{
    char until[40], since[40];
    struct setup *setup = app_setup(app);
    json_t *missing = json_object();
    for (size_t i = 0; i < RESTORE_KINDS; i++)
        if (f->of.missing[i].what)
            json_object_set_new(missing, f->of.missing[i].what,
                                json_integer(f->of.missing[i].count));
    json_t *told = json_pack(
        "{s:o, s:s?, s:s?, s:o}", "file", jsonx_outside(path), "until",
        f->until_ms == WHEN_UNKNOWN_MS ? NULL : when_format(setup->tz, f->until_ms, until), "since",
        f->since_ms == WHEN_UNKNOWN_MS ? NULL : when_format(setup->tz, f->since_ms, since),
        "missing", missing);
    setup_unref(setup);
    return told;
}

void care_restore_look(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct restore_foreseen foreseen;
    char *path = NULL;
    (void)store;
    int rc = read_place(rq, "file", &path, &err);
    if (!rc)
        rc = restore_foresee(rq->app->state_dir, path, &foreseen, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, look_json(rq->app, path, &foreseen));
    free(path);
}

void care_restore(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct app *app = rq->app;
    char *path = NULL;
    (void)store;
    int rc = read_place(rq, "file", &path, &err);
    if (!rc)
        rc = restore_look(path, &err);
    if (!rc)
        rc = check_start(app, &err);
    if (!rc)
        rc = ask(app, path, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200, restoring_json(app, path));
        app->stop(app->stop_arg);
    }
    free(path);
}
