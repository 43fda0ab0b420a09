/* Two threads' worth of care: everything here runs on the loop thread except on_reply() and
 * run_on_reader(). A request leaves the loop as a plain struct, and its answer comes back through
 * `answered`, a list behind a lock, and an eventfd that wakes the loop. */
#include "serve/http.h"
#include "base/text.h"
#include "serve/head.h"
#include "serve/pending.h"
#include "serve/plants.h"
#include "serve/refusal.h"
#include "serve/sessions.h"
#include "serve/ways.h"
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/resource.h>
#include <unistd.h>

enum { STUDY_NICE = 5 }; /* a third of the processor time of a desk's thread, if they compete */

struct http {
    struct event_base *base;
    struct app *app;
    struct ways *ways;
    size_t pending;
    bool stopping;
    struct event *woken, *changed, *handed;
    int wake_fd;
    pthread_mutex_t lock;
    struct pending *answered; /* under lock */
};

/* ---- answers, on the way back ---- */

static struct http *http_of(const struct pending *p)
{
    return ways_owner(p->way);
}

/* What a question is answered has been read whole: of a disk that failed half-way, "none" is not
 * told. On the reader's thread. */
static bool was_read(struct pending *p, struct error *ret_why)
{
    struct store *asked = p->asked;
    p->asked = NULL;
    if (!asked)
        return true;
    store_drop_if(asked, NULL);
    return !store_failed(asked, ret_why);
}

/* The way back to the loop: request->reply. */
static void on_reply(struct request *rq, const struct request_answer *answer)
{
    struct pending *p = rq->slot;
    struct http *http = http_of(p);
    struct error why = {0};
    if (!was_read(p, &why) && answer->status < 500) {
        free(answer->body);
        request_reply_error(rq, (int)why.code, &why);
        return;
    }
    p->answer = *answer;
    pthread_mutex_lock(&http->lock);
    bool first = http->answered == NULL;
    p->next = http->answered;
    http->answered = p;
    pthread_mutex_unlock(&http->lock);
    const uint64_t one = 1;
    if (first && write(http->wake_fd, &one, sizeof one) < 0)
        log_write(&http->app->log, LOG_LEVEL_ERROR, "cannot wake the loop errno=%d", errno);
}

/* The client is told that nothing more comes by a connection that breaks off. */
static void break_off(struct pending *p, const char *why)
{
    log_write(&p->request.app->log, LOG_LEVEL_WARNING, "an answer was broken off path=%s reason=%s",
              p->request.path, why);
    conn_close(p->conn);
}

/* Passes the bytes on; true if the request goes on. */
static bool send_piece(struct pending *p)
{
    char lines[HEAD_LINES];
    struct conn_head head = head_of(p->answer.status, p->answer.type, p->request.more, lines);
    bool first = !p->begun;
    p->begun = true;
    char *body = p->answer.body;
    p->answer.body = NULL;
    return conn_piece(p->conn, first ? &head : NULL, body, p->answer.length, !p->answer.more);
}

static void send_answer(struct pending *p)
{
    char lines[HEAD_LINES];
    p->away = false;
    if (!p->conn) {
        pending_free(p);
        return;
    }
    if (p->begun && p->answer.status != 200) {
        break_off(p, "it could not be gone on with");
        return;
    }
    if ((p->answer.more || p->begun) && send_piece(p))
        return;
    conn_set_owner(p->conn, NULL);
    if (!p->begun) {
        struct conn_head head = head_of(p->answer.status, p->answer.type, p->request.more, lines);
        conn_answer(p->conn, &head, p->answer.body, p->answer.length);
        p->answer.body = NULL;
    }
    pending_free(p);
}

static void http_on_woken(evutil_socket_t fd, short what, void *arg)
{
    struct http *http = arg;
    uint64_t drained;
    (void)what;
    if (read(fd, &drained, sizeof drained) < 0 && errno != EAGAIN)
        log_write(&http->app->log, LOG_LEVEL_ERROR, "cannot read the wake signal errno=%d", errno);
    pthread_mutex_lock(&http->lock);
    struct pending *list = http->answered;
    http->answered = NULL;
    pthread_mutex_unlock(&http->lock);
    while (list) {
        struct pending *p = list;
        list = p->next;
        http->pending--;
        send_answer(p);
    }
}

static void http_on_fault(void *arg, struct conn *conn, const struct wire_fault *fault)
{
    struct refusal r = {0};
    struct pending *p = conn_owner(conn);
    (void)arg;
    conn_set_owner(conn, NULL);
    refusal_of_fault(&r, fault, p ? p->route : NULL);
    if (p)
        pending_free(p);
    refusal_send(&r, conn);
}

/* ---- requests, on the way in ---- */

static bool is_long(const struct pending *p)
{
    return p->route->pace == ROUTE_LONG || request_is_lines(&p->request);
}

static bool is_study(const struct pending *p)
{
    return is_long(p) && pending_asks(p);
}

static void run_on_reader(struct store *store, void *arg)
{
    struct pending *p = arg;
    struct error err = {0};
    setup_unref(p->setup); /* of the piece before */
    p->setup = app_setup(p->request.app);
    if (is_study(p))
        setpriority(PRIO_PROCESS, 0, STUDY_NICE); /* of this thread alone, on Linux */
    int rc = pending_asks(p) && atomic_load(&p->dropped)
                 ? error_set(&err, ERROR_BUSY, "whoever asked has gone")
                 : pending_check_role(p, &err);
    if (!rc)
        rc = query_check(&p->request.query, p->route->query, &err);
    if (rc) {
        request_reply_error(&p->request, rc, &err);
        return;
    }
    /* a question gets one state of the store; what changes it looks again after its commit */
    bool asks = pending_asks(p), began = asks && store_look(store);
    p->asked = asks ? store : NULL;
    if (asks)
        store_drop_if(store, &p->dropped);
    rc = plants_enter(&p->request, p->setup, p->route, store, &err);
    if (rc)
        request_reply_error(&p->request, rc, &err);
    else
        p->route->handler(&p->request, store);
    plants_leave(store);
    store_unlook(store, began);
}

/* The readers closed before it began. */
static void refuse_unbegun(void *arg)
{
    struct pending *p = arg;
    struct error err = {0};
    error_set(&err, ERROR_BUSY, "the daemon is stopping; try again in a moment");
    request_reply_error(&p->request, ERROR_BUSY, &err);
}

static void http_on_head(void *arg, struct conn *conn)
{
    struct refusal r = {0};
    struct http *http = ways_owner(arg);
    struct pending *p = pending_new(http->app, arg, conn);
    p->request.reply = on_reply;
    refusal_at_head(&r, p);
    if (http->stopping)
        refusal_stopping(&r);
    if (!r.status) {
        conn_set_owner(conn, p);
        return;
    }
    pending_free(p);
    refusal_send(&r, conn);
}

/* Has a reader make the answer, or its next piece. */
static int send_away(struct pending *p)
{
    const struct app *app = p->request.app;
    struct readers *readers = is_study(p) ? app->study : is_long(p) ? app->bulk : app->readers;
    if (is_long(p) && !p->long_of)
        p->long_of = door_begin_long(ways_door(p->way), p->conn);
    if (is_long(p) && !p->long_of)
        return ERROR_TOO_LARGE;
    if (readers_submit_soon(readers, &(struct reader_job){run_on_reader, refuse_unbegun, p}))
        return ERROR_BUSY;
    p->away = true;
    http_of(p)->pending++;
    event_active(http_of(p)->handed, EV_TIMEOUT, 0);
    return 0;
}

/* Behind all that came in this turn of the loop. */
static void http_on_handed(evutil_socket_t fd, short what, void *arg)
{
    const struct app *app = ((struct http *)arg)->app;
    (void)fd;
    (void)what;
    readers_wake(app->readers);
    readers_wake(app->bulk);
    readers_wake(app->study);
}

static void http_on_request(void *arg, struct conn *conn)
{
    struct refusal r = {0};
    struct pending *p = conn_owner(conn);
    (void)arg;
    p->request.body = wire_take_body(conn_wire(conn), &p->request.body_length);
    int rc = http_of(p)->stopping ? ERROR_DENIED : send_away(p);
    if (!rc)
        return;
    if (rc == ERROR_DENIED)
        refusal_stopping(&r);
    else if (rc == ERROR_TOO_LARGE)
        refusal_set(
            &r, 503, "Too much of yours is waiting",
            "%zu files, batches and other long work of yours wait already; try again when one is "
            "done (limits/peer_long)",
            ways_long_of_peer(p->way));
    else
        refusal_set(&r, 503, "Too much is waiting", "too much is waiting; try again in a moment");
    refusal_unheard(&r, p->route);
    conn_set_owner(conn, NULL);
    pending_free(p);
    refusal_send(&r, conn);
}

static void http_on_taken(void *arg, struct conn *conn)
{
    struct pending *p = conn_owner(conn);
    (void)arg;
    if (http_of(p)->stopping)
        break_off(p, "the daemon is stopping");
    else if (send_away(p))
        break_off(p, "too much is waiting");
}

static void http_on_idle(void *arg, struct conn *conn, bool is_idle)
{
    ways_idle(arg, conn, is_idle);
}

static void http_on_gone(void *arg, struct conn *conn, bool left)
{
    struct http *http = ways_owner(arg);
    struct pending *p = conn_owner(conn);
    if (p && p->away) {
        p->conn = NULL;
        atomic_store(&p->dropped, true);
    } else if (p)
        pending_free(p);
    if (left)
        sessions_left(http->app->sessions, conn_number(conn), clock_monotonic_ms());
    ways_leave(arg, conn);
}

static void http_on_changed(evutil_socket_t fd, short what, void *arg)
{
    struct http *http = arg;
    struct setup *setup = app_setup(http->app);
    (void)fd;
    (void)what;
    ways_limit(http->ways, setup->config);
    setup_unref(setup);
}

void http_changed(struct http *http)
{
    event_active(http->changed, EV_TIMEOUT, 0);
}

static int wake_open(struct http *http, struct error *err)
{
    http->wake_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    if (http->wake_fd < 0) {
        error_hint(err, "raise LimitNOFILE= of the unit (ulimit -n)");
        return error_set(err, ERROR_IO, "cannot make what wakes the daemon for an answer: %s",
                         strerror(errno));
    }
    http->woken = event_new(http->base, http->wake_fd, EV_READ | EV_PERSIST, http_on_woken, http);
    event_add(http->woken, NULL);
    return 0;
}

int http_start(struct event_base *base, struct app *app, const char *socket_path, struct http **ret,
               struct error *err)
{
    static const struct conn_events EVENTS = {http_on_head,  http_on_request, http_on_fault,
                                              http_on_taken, http_on_idle,    http_on_gone};
    struct http *http = xcalloc(1, sizeof *http);
    struct setup *setup = app_setup(app);
    http->base = base;
    http->app = app;
    pthread_mutex_init(&http->lock, NULL);
    http->ways = ways_new(base, app, &EVENTS, http);
    http->changed = event_new(base, -1, EV_PERSIST, http_on_changed, http);
    http->handed = event_new(base, -1, EV_PERSIST, http_on_handed, http);
    int rc = wake_open(http, err);
    if (!rc)
        rc = ways_open(http->ways, setup->config, socket_path, err);
    setup_unref(setup);
    if (rc) {
        http_free(http);
        return rc;
    }
    *ret = http;
    return 0;
}

void http_stop(struct http *http)
{
    http->stopping = true;
    ways_stop(http->ways);
}

size_t http_pending(const struct http *http)
{
    return http->pending;
}

static void http_on_tick(evutil_socket_t fd, short what, void *arg)
{
    (void)fd;
    (void)what;
    (void)arg;
}

void http_flush(struct http *http, int64_t patience_ms)
{
    if (!http)
        return;
    const int64_t until_ms = clock_monotonic_ms() + patience_ms;
    const struct timeval every = {0, 50000};
    struct event *tick = event_new(http->base, -1, EV_PERSIST, http_on_tick, NULL);
    event_add(tick, &every); /* ends an idle wait */
    http_on_woken(http->wake_fd, 0, http);
    while (ways_is_writing(http->ways) && clock_monotonic_ms() < until_ms)
        event_base_loop(http->base, EVLOOP_ONCE);
    event_free(tick);
}

void http_free(struct http *http)
{
    if (!http)
        return;
    ways_free(http->ways);
    if (http->woken) {
        event_free(http->woken);
        close(http->wake_fd);
    }
    event_free(http->changed);
    event_free(http->handed);
    pthread_mutex_destroy(&http->lock);
    free(http);
}
