#include "serve/reload.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

struct reload {
    struct app *app;
    void (*ended)(void);
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool wanted, closed; /* under lock */
};

static void run(struct app *app)
{
    struct error err = {0};
    char text[1024];
    if (app_reload(app, &err))
        log_write(&app->log, LOG_LEVEL_ERROR,
                  "reload refused, the rules and settings in force stay: %s",
                  error_format(&err, text, sizeof text));
}

static void *reload_main(void *arg)
{
    struct reload *r = arg;
    pthread_mutex_lock(&r->lock);
    while (!r->closed) {
        if (!r->wanted) {
            pthread_cond_wait(&r->changed, &r->lock);
            continue;
        }
        r->wanted = false;
        pthread_mutex_unlock(&r->lock);
        run(r->app);
        pthread_mutex_lock(&r->lock);
        if (!r->wanted && !r->closed)
            r->ended();
    }
    pthread_mutex_unlock(&r->lock);
    return NULL;
}

int reload_start(struct app *app, void (*ended)(void), struct reload **ret, struct error *err)
{
    struct reload *r = xcalloc(1, sizeof *r);
    r->app = app;
    r->ended = ended;
    pthread_mutex_init(&r->lock, NULL);
    pthread_cond_init(&r->changed, NULL);
    int failed = pthread_create(&r->thread, NULL, reload_main, r);
    if (failed) {
        free(r);
        return error_set(err, ERROR_IO, "cannot start the reloading thread: %s", strerror(failed));
    }
    *ret = r;
    return 0;
}

void reload_ask(struct reload *r)
{
    pthread_mutex_lock(&r->lock);
    r->wanted = true;
    pthread_cond_signal(&r->changed);
    pthread_mutex_unlock(&r->lock);
}

void reload_close(struct reload *r)
{
    if (!r)
        return;
    pthread_mutex_lock(&r->lock);
    r->closed = true;
    pthread_cond_signal(&r->changed);
    pthread_mutex_unlock(&r->lock);
    pthread_join(r->thread, NULL);
}

void reload_free(struct reload *r)
{
    if (!r)
        return;
    pthread_cond_destroy(&r->changed);
    pthread_mutex_destroy(&r->lock);
    free(r);
}
