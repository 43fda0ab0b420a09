#include "serve/conn.h"
#include "base/text.h"
#include "base/when.h"
#include <event2/buffer.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/socket.h>

enum { TICK_MS = 250 };

struct conn {
    struct bufferevent *bev; /* a reference of our own */
    struct conn_watch *watch;
    struct conn *next;
    bool reading, ours;
    int64_t first_byte_ms;
    struct event *exchange; /* active while a page of evhttp's own waits to leave */
};

struct conn_watch {
    struct conn *all;
    size_t count, limit;
    int64_t request_ms;
    struct event *tick;
    void (*full)(void *arg, bool is_full);
    void *arg;
    bool is_full;
};

static void conn_on_input(struct evbuffer *buffer, const struct evbuffer_cb_info *info, void *arg)
{
    struct conn *conn = arg;
    (void)buffer;
    if (info->n_added > 0 && !conn->reading) {
        conn->reading = true;
        conn->first_byte_ms = clock_monotonic_ms();
    }
}

/* ---- pages of evhttp's own ---- */

static void conn_on_output(struct evbuffer *buffer, const struct evbuffer_cb_info *info, void *arg)
{
    struct conn *conn = arg;
    (void)buffer;
    /* not here: the page is still being written. The event runs before the socket's next write. */
    if (info->orig_size == 0 && info->n_added > 0 && !conn->ours)
        event_active(conn->exchange, EV_TIMEOUT, 0);
}

static const char *title_of(int status)
{
    switch (status) {
    case 413:
        return "The body is larger than this daemon takes; send it in parts";
    case 417:
        return "That expectation cannot be met";
    case 501:
        return "That method is not known";
    default:
        return "The request is malformed";
    }
}

static void conn_on_exchange(evutil_socket_t fd, short what, void *arg)
{
    struct conn *conn = arg;
    struct evbuffer *output = bufferevent_get_output(conn->bev);
    char line[16] = "", body[256];
    int status = 0;
    (void)fd;
    (void)what;
    evbuffer_copyout(output, line, sizeof line - 1);
    if (sscanf(line, "HTTP/1.%*1[01] %3d", &status) != 1 || status < 400)
        return; /* "100 Continue" */
    int length =
        snprintf(body, sizeof body, "{\"type\":\"about:blank\",\"title\":\"%s\",\"status\":%d}",
                 title_of(status), status);
    conn->ours = true; /* and the last thing said here: the connection closes */
    evbuffer_drain(output, evbuffer_get_length(output));
    evbuffer_add_printf(output,
                        "HTTP/1.1 %d Refused\r\nContent-Type: application/problem+json\r\n"
                        "Content-Length: %d\r\nConnection: close\r\n\r\n%s",
                        status, length, body);
}

/* evhttp frees its bufferevent by clearing the callbacks and dropping its reference; ours is then
 * the last one, and dropping it closes the socket (which evhttp has already shut for writing). */
static bool is_let_go(struct bufferevent *bev)
{
    bufferevent_data_cb read_cb, write_cb;
    bufferevent_event_cb event_cb;
    void *arg;
    bufferevent_getcb(bev, &read_cb, &write_cb, &event_cb, &arg);
    return !read_cb && !write_cb && !event_cb;
}

static void drop(struct conn *conn)
{
    evbuffer_remove_cb(bufferevent_get_input(conn->bev), conn_on_input, conn);
    evbuffer_remove_cb(bufferevent_get_output(conn->bev), conn_on_output, conn);
    event_free(conn->exchange);
    bufferevent_decref(conn->bev);
    free(conn);
}

static void sweep(struct conn_watch *watch, int64_t now_ms)
{
    for (struct conn **at = &watch->all; *at;) {
        struct conn *conn = *at;
        if (is_let_go(conn->bev)) {
            *at = conn->next;
            watch->count--;
            drop(conn);
            continue;
        }
        if (conn->reading && now_ms - conn->first_byte_ms > watch->request_ms)
            shutdown(bufferevent_getfd(conn->bev), SHUT_RDWR);
        at = &conn->next;
    }
}

static void tell_full(struct conn_watch *watch)
{
    bool is_full = watch->count >= watch->limit;
    if (is_full != watch->is_full) {
        watch->is_full = is_full;
        watch->full(watch->arg, is_full);
    }
}

static void conn_on_tick(evutil_socket_t fd, short what, void *arg)
{
    struct conn_watch *watch = arg;
    (void)fd;
    (void)what;
    sweep(watch, clock_monotonic_ms());
    tell_full(watch);
}

struct conn_watch *conn_watch_new(struct event_base *base, size_t limit, int64_t request_ms,
                                  void (*full)(void *arg, bool is_full), void *arg)
{
    struct conn_watch *watch = xcalloc(1, sizeof *watch);
    watch->limit = limit;
    watch->request_ms = request_ms;
    watch->full = full;
    watch->arg = arg;
    watch->tick = event_new(base, -1, EV_PERSIST, conn_on_tick, watch);
    const struct timeval every = {0, TICK_MS * INT64_C(1000)};
    event_add(watch->tick, &every);
    return watch;
}

void conn_watch_limit(struct conn_watch *watch, size_t limit, int64_t request_ms)
{
    watch->limit = limit;
    watch->request_ms = request_ms;
    tell_full(watch);
}

void conn_watch_free(struct conn_watch *watch)
{
    if (!watch)
        return;
    event_free(watch->tick);
    while (watch->all) {
        struct conn *conn = watch->all;
        watch->all = conn->next;
        drop(conn);
    }
    free(watch);
}

void conn_watch_add(struct conn_watch *watch, struct bufferevent *bev)
{
    /* before the new one is listed: it has no callbacks yet, as if it had been let go */
    if (watch->count + 1 >= watch->limit)
        sweep(watch, clock_monotonic_ms());
    struct conn *conn = xcalloc(1, sizeof *conn);
    bufferevent_incref(bev);
    conn->bev = bev;
    conn->watch = watch;
    conn->next = watch->all;
    watch->all = conn;
    watch->count++;
    conn->exchange = event_new(bufferevent_get_base(bev), -1, 0, conn_on_exchange, conn);
    evbuffer_add_cb(bufferevent_get_input(bev), conn_on_input, conn);
    evbuffer_add_cb(bufferevent_get_output(bev), conn_on_output, conn);
    tell_full(watch);
}

static struct conn *find(struct conn_watch *watch, const struct bufferevent *bev)
{
    struct conn *conn = watch->all;
    while (conn && conn->bev != bev)
        conn = conn->next;
    return conn;
}

void conn_watch_arrived(struct conn_watch *watch, struct bufferevent *bev)
{
    struct conn *conn = find(watch, bev);
    if (conn)
        conn->reading = false;
}

void conn_watch_answering(struct conn_watch *watch, struct bufferevent *bev, bool ours)
{
    struct conn *conn = find(watch, bev);
    if (conn)
        conn->ours = ours;
}

bool conn_watch_is_writing(const struct conn_watch *watch)
{
    const struct conn *conn = watch->all;
    while (conn && evbuffer_get_length(bufferevent_get_output(conn->bev)) == 0)
        conn = conn->next;
    return conn != NULL;
}

size_t conn_watch_count(const struct conn_watch *watch)
{
    return watch->count;
}
