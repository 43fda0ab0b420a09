#include "serve/conn.h"
#include "base/text.h"
#include "base/when.h"
#include <event2/buffer.h>
#include <stdlib.h>
#include <sys/socket.h>

enum { TICK_MS = 250 };

struct conn {
    struct bufferevent *bev; /* a reference of our own */
    struct conn_watch *watch;
    struct conn *next;
    bool reading;
    int64_t first_byte_ms;
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
    const struct timeval every = {0, TICK_MS * 1000};
    event_add(watch->tick, &every);
    return watch;
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
    struct conn *conn = xcalloc(1, sizeof *conn);
    bufferevent_incref(bev);
    conn->bev = bev;
    conn->watch = watch;
    conn->next = watch->all;
    watch->all = conn;
    watch->count++;
    evbuffer_add_cb(bufferevent_get_input(bev), conn_on_input, conn);
    if (watch->count >= watch->limit) {
        sweep(watch, clock_monotonic_ms());
        tell_full(watch);
    }
}

void conn_watch_arrived(struct conn_watch *watch, struct bufferevent *bev)
{
    for (struct conn *conn = watch->all; conn; conn = conn->next) {
        if (conn->bev == bev) {
            conn->reading = false;
            return;
        }
    }
}

size_t conn_watch_count(const struct conn_watch *watch)
{
    return watch->count;
}
