/* Backup, and the way back. */
#include "base/jsonx.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/backup.h"
#include "store/backup_last.h"
#include "store/restore.h"
#include <stdlib.h>

/* The body's member `name`, as a path of this machine. */
static int read_place(const struct request *rq, const char *name, char **ret, struct error *err)
{
    const char *named = "";
    json_t *body = NULL;
    int rc = request_json(rq, &body, err);
    if (!rc)
        rc = jsonx_string(body, name, &named, err);
    if (!rc)
        rc = backup_place(rq->app->state_dir, named ? named : "", ret, err);
    if (rc)
        error_field(err, name, NULL);
    json_decref(body);
    return rc;
}

struct noting {
    const char *path;
    int64_t at_ms;
};

static int note(struct store *store, void *arg, struct error *err)
{
    const struct noting *n = arg;
    return backup_last_note(store, n->path, n->at_ms, err);
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
        struct noting noting = {path, app_now_ms(rq->app)};
        writer_run(rq->app->writer, note, &noting, NULL);
        request_reply_json(rq, 200, json_pack("{s:s}", "backup", path));
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

void care_restore(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct app *app = rq->app;
    char started[32], *path = NULL;
    (void)store;
    int rc = read_place(rq, "file", &path, &err);
    if (!rc)
        rc = restore_look(path, &err);
    if (!rc)
        rc = ask(app, path, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200,
                           json_pack("{s:s, s:s}", "restoring", path, "started_at",
                                     when_format_utc(app->started_ms, started)));
        app->stop(app->stop_arg);
    }
    free(path);
}
