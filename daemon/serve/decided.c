#include "serve/decided.h"
#include <stdlib.h>

struct setting_job {
    const char *key, *value;
    char *before;
};

static int exchange(struct store *store, void *arg, struct error *err)
{
    struct setting_job *job = arg;
    free(job->before); /* of a job that was undone and runs again */
    job->before = NULL;
    int rc = store_setting_get(store, job->key, &job->before, err);
    return rc ? rc : store_setting_set(store, job->key, job->value, err);
}

static int put_back(struct store *store, void *arg, struct error *err)
{
    const struct setting_job *job = arg;
    return store_setting_set(store, job->key, job->before, err);
}

int decided_keep(struct app *app, const char *key, const char *value, struct error *err)
{
    struct setting_job job = {.key = key, .value = value};
    int rc = writer_run(app->writer, exchange, &job, err);
    if (!rc) {
        rc = app_reload(app, err);
        if (rc)
            writer_run(app->writer, put_back, &job, NULL);
    }
    free(job.before);
    return rc;
}

void decided_follow(struct app *app, struct store *store)
{
    struct error err = {0};
    char text[1024];
    if (!store_is_server(store) || app_is_decided(app, store))
        return;
    if (app_reload(app, &err))
        log_seldom(&app->log, &app->told, clock_monotonic_ms(),
                   "what was decided at another daemon is not in force here: %s",
                   error_format(&err, text, sizeof text));
}
