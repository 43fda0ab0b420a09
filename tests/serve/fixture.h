/* A small plant for tests of serve/: its settings, its state, what the app shares, and the handlers
 * of routes asked without a socket. The clock is the test's own. */
#ifndef ODDLOAF_TESTS_SERVE_FIXTURE_H
#define ODDLOAF_TESTS_SERVE_FIXTURE_H

#include "base/jsonx.h"
#include "base/text.h"
#include "check.h"
#include "serve/app.h"
#include "serve/kept.h"
#include "serve/route.h"
#include "serve/sessions.h"
#include "serve/uploads.h"
#include "state.h"
#include "store/db.h"
#include <string.h>
#include <time.h>

#define FIXTURE_NOW "2026-11-24T12:00:00-05:00" /* a Tuesday */
#define FIXTURE_MAIL                                                                               \
    "{'to':['qa@mill.example'],'urgent_to':['qa@mill.example'],'program':'/bin/true'}"
#define FIXTURE_SETTINGS                                                                           \
    "'time_zone':'America/New_York','plant':'Harrow Mill Bakery','mail':" FIXTURE_MAIL

struct fixture {
    char dir[64], config[96];
    int64_t now_ms;
    struct app app;
    struct store *store;
    unsigned roles; /* of who asks; 0: all */
};

/* ---- asking ---- */

/* One at a time; its answer comes on any thread. */
struct asked {
    struct request rq;
    pthread_mutex_t lock;
    pthread_cond_t come;
    bool has, more;
    int status;
    struct text_buffer body;
};

static inline void fixture_take_answer(struct request *rq, const struct request_answer *answer)
{
    struct asked *a = (struct asked *)(void *)rq;
    pthread_mutex_lock(&a->lock);
    a->status = answer->status;
    a->more = answer->more;
    if (answer->length)
        text_append_bytes(&a->body, answer->body, answer->length);
    free(answer->body);
    a->has = true;
    pthread_cond_signal(&a->come);
    pthread_mutex_unlock(&a->lock);
}

static inline void fixture_wait(struct asked *a)
{
    struct timespec until;
    int rc = 0;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += 60;
    pthread_mutex_lock(&a->lock);
    while (!a->has && !rc)
        rc = pthread_cond_timedwait(&a->come, &a->lock, &until);
    a->has = false;
    pthread_mutex_unlock(&a->lock);
    assert_int_equal(rc, 0);
}

static inline void fixture_asked_free(struct asked *a)
{
    if (a->rq.stream_free && a->rq.stream)
        a->rq.stream_free(a->rq.stream);
    query_clear(&a->rq.query);
    text_buffer_free(&a->body);
    free(a->rq.path);
    free(a->rq.body);
    free(a->rq.content_type);
    free(a->rq.accept);
    free(a);
}

/* ' stands for " in what is JSON. */
static inline char *fixture_json(const char *text)
{
    char *json = xstrdup(text);
    for (char *p = json; *p; p++)
        *p = *p == '\'' ? '"' : *p;
    return json;
}

/* "GET cases?state=all"; a body that begins with a brace is JSON, of
 * several lines if it has any. */
static inline struct asked *fixture_ask(struct fixture *f, struct store *store, const char *what,
                                        const char *body)
{
    char method[8], methods[64];
    struct error err = {0};
    struct asked *a = xcalloc(1, sizeof *a);
    struct text_buffer path = {0};
    const char *query = strchr(what, '?'), *space = strchr(what, ' ');
    pthread_mutex_init(&a->lock, NULL);
    pthread_cond_init(&a->come, NULL);
    snprintf(method, sizeof method, "%.*s", (int)(space - what), what);
    text_append(&path, "/v1/");
    text_append_bytes(&path, space + 1, query ? (size_t)(query - space - 1) : strlen(space + 1));
    a->rq = (struct request){.app = &f->app,
                             .roles = f->roles ? f->roles
                                               : ROLE_DESK | ROLE_QA | ROLE_MANAGER | ROLE_ADMIN,
                             .user = "mira",
                             .sees_all = true,
                             .accept = xstrdup(""),
                             .connection = 1,
                             .reply = fixture_take_answer,
                             .path = text_take(&path)};
    bool json = body && body[0] == '{';
    a->rq.content_type = xstrdup(!json                ? "text/csv"
                                 : strchr(body, '\n') ? "application/x-ndjson"
                                                      : "application/json");
    a->rq.body = json ? fixture_json(body) : xstrdup(body ? body : "");
    a->rq.body_length = strlen(a->rq.body);
    const struct route *route = route_find(method, &a->rq, methods, sizeof methods);
    query_read(query ? query + 1 : NULL, &a->rq.query);
    if (!route || query_check(&a->rq.query, route->query, &err))
        fail_msg("%s: %s", what, err.text);
    do {
        route->handler(&a->rq, store);
        fixture_wait(a);
    } while (a->more);
    return a;
}

/* ---- a plant ---- */

static inline int64_t fixture_now(void *arg)
{
    return *(int64_t *)arg;
}

static inline int64_t fixture_ms(const char *at)
{
    int64_t ms = 0;
    assert_int_equal(when_parse(at, &ms, NULL), 0);
    return ms;
}

static inline void fixture_settings(struct fixture *f, const char *settings)
{
    char *text = fixture_json(settings);
    FILE *file = fopen(f->config, "w");
    assert_true(file && fprintf(file, "{%s}", text) > 0 && fclose(file) == 0);
    free(text);
}

static inline struct fixture *fixture_start(const char *settings)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    struct error err = {0};
    strcpy(f->dir, "/tmp/oddloaf-serve-XXXXXX");
    assert_non_null(state_folder(f->dir));
    snprintf(f->config, sizeof f->config, "%s/config.json", f->dir);
    fixture_settings(f, settings);
    f->now_ms = fixture_ms(FIXTURE_NOW);
    f->app.clock = (struct clock){fixture_now, &f->now_ms};
    f->app.log.level = LOG_LEVEL_ERROR;
    f->app.state_dir = f->dir;
    f->app.config_path = f->config;
    f->app.rules_dir = ODDLOAF_SOURCE_DIR "/rules";
    if (setup_load(f->config, f->app.rules_dir, NULL, &f->app.setup, &f->app.log, &err) ||
        writer_start(f->dir, 64, &f->app.writer, &err) ||
        readers_start(f->dir, 1, 64, &f->app.readers, &err) ||
        store_open(f->dir, STORE_READ, &f->store, &err))
        fail_msg("%s", err.text);
    f->app.bulk = f->app.study = f->app.readers;
    f->app.sessions = sessions_new();
    f->app.uploads = uploads_new();
    f->app.kept = kept_new();
    pthread_mutex_init(&f->app.lock, NULL);
    pthread_mutex_init(&f->app.switching, NULL);
    pthread_mutex_init(&f->app.reloading, NULL);
    if (app_settle(&f->app, &err))
        fail_msg("%s", err.text);
    return f;
}

static inline int fixture_stop(struct fixture *f)
{
    char command[128];
    readers_close(f->app.readers);
    readers_free(f->app.readers);
    store_close(f->store);
    writer_free(f->app.writer);
    sessions_free(f->app.sessions);
    uploads_free(f->app.uploads);
    kept_free(f->app.kept);
    setup_unref(f->app.setup);
    free(f->app.restore_file);
    snprintf(command, sizeof command, "rm -rf '%s'", f->dir);
    int rc = system(command);
    free(f);
    return rc;
}

/* ---- what tests do with it ---- */

static inline void fixture_does(struct fixture *f, const char *what, const char *body, int status)
{
    struct asked *a = fixture_ask(f, f->store, what, body);
    if (a->status != status)
        fail_msg("%s: %d %s", what, a->status, a->body.length ? a->body.data : "");
    fixture_asked_free(a);
}

static inline void fixture_log(struct fixture *f, const char *id, const char *more)
{
    struct text_buffer body = {0};
    text_appendf(&body,
                 "{'id':'%s','received_at':'2026-11-24T11:00:00-05:00','channel':'phone',"
                 "'symptom':'mold'%s}",
                 id, more);
    fixture_does(f, "POST complaints", body.data, 201);
    text_buffer_free(&body);
}

static inline int64_t fixture_count(struct fixture *f, const char *sql)
{
    int64_t count = -1;
    assert_int_equal(db_number(f->store, sql, NULL, &count, NULL), 0);
    return count;
}

#endif
