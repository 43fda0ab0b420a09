#include "serve/ways.h"
#include "base/text.h"
#include "serve/head.h"
#include "serve/limits.h"
#include "serve/listen.h"
#include "serve/peer.h"
#include "serve/refusal.h"
#include "serve/tls.h"
#include <event2/bufferevent_ssl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

enum { FULL_TOLD_MS = 60000 };

struct way {
    struct ways *ways;
    const char *name;
    bool tls;
    const struct limits_way *limits;
    struct door *door; /* NULL: this way there is none */
    struct listen_taker taker;
    int64_t full_told_ms;
};

struct ways {
    struct event_base *base;
    struct app *app;
    const struct conn_events *events;
    void *owner;
    struct listen *listen;
    struct limits limits;
    struct way local, tcp;
    uint64_t connections; /* so far: numbers them */
};

static void tell_full(struct way *way, const char *peer, enum door_answer answer)
{
    int64_t now_ms = clock_monotonic_ms();
    if (way->full_told_ms && now_ms - way->full_told_ms < FULL_TOLD_MS)
        return;
    way->full_told_ms = now_ms;
    log_write(&way->ways->app->log, LOG_LEVEL_WARNING, "connections full at=%s open=%zu%s%s",
              way->name, door_count(way->door), answer == DOOR_PEER_FULL ? " peer=" : "",
              answer == DOOR_PEER_FULL ? peer : "");
}

/* While it is full nobody is taken in: those who wait outside are told of here. */
static void look_at_room(struct way *way)
{
    bool full = door_is_full(way->door);
    if (full)
        tell_full(way, "", DOOR_FULL);
    listen_full(way->ways->listen, &way->taker, full);
}

void ways_idle(struct way *way, struct conn *conn, bool is_idle)
{
    door_idle(way->door, conn, is_idle);
    look_at_room(way);
}

void ways_leave(struct way *way, struct conn *conn)
{
    door_leave(way->door, conn);
    look_at_room(way);
}

/* With the certificate in force now. */
static struct bufferevent *tls_bufferevent(const struct ways *ways, evutil_socket_t fd)
{
    struct setup *setup = app_setup(ways->app);
    SSL *ssl = SSL_new(setup->tls); /* keeps a reference of its own; NULL: no memory */
    setup_unref(setup);
    return ssl ? bufferevent_openssl_socket_new(ways->base, fd, ssl, BUFFEREVENT_SSL_ACCEPTING,
                                                BEV_OPT_CLOSE_ON_FREE)
               : NULL;
}

/* To one who is not let in; as far as a word goes without waiting. */
static void send_away_at_door(const struct way *way, evutil_socket_t fd)
{
    char *body =
        request_problem(503, "Too many connections",
                        "too many connections are open; try again in a moment", REFUSAL_UNHEARD);
    struct text_buffer out = {0};
    text_appendf(&out,
                 "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\n"
                 "%sContent-Length: %zu\r\nConnection: close\r\n\r\n%s",
                 HEAD_BUSY, strlen(body), body);
    if (!way->tls)
        send(fd, out.data, out.length, MSG_DONTWAIT | MSG_NOSIGNAL);
    text_buffer_free(&out);
    free(body);
    evutil_closesocket(fd);
}

static void ways_on_connection(void *arg, evutil_socket_t fd, const struct sockaddr *from)
{
    struct way *way = arg;
    struct ways *ways = way->ways;
    char peer[DOOR_PEER];
    peer_name_at_door(fd, from, peer, sizeof peer);
    bool was_full = door_count(way->door) >= way->limits->room.connections;
    enum door_answer answer = door_ask(way->door, peer);
    if (was_full || answer != DOOR_OPEN)
        tell_full(way, peer, answer);
    if (answer != DOOR_OPEN) {
        send_away_at_door(way, fd);
        return;
    }
    struct bufferevent *bev = way->tls
                                  ? tls_bufferevent(ways, fd)
                                  : bufferevent_socket_new(ways->base, fd, BEV_OPT_CLOSE_ON_FREE);
    if (!bev)
        abort(); /* no memory, as in xmalloc() */
    struct conn *conn = conn_new(bev, &way->limits->patience, ways->events, way);
    conn_set_number(conn, ++ways->connections);
    uid_t uid;
    if (peer_uid(fd, &uid))
        conn_set_uid(conn, uid);
    door_enter(way->door, conn, peer);
    conn_start(conn);
}

static bool ways_on_asked(void *arg)
{
    const struct way *way = arg;
    return door_is_full(way->door);
}

static void open_way(struct way *way, struct ways *ways, const char *name,
                     const struct limits_way *limits)
{
    way->ways = ways;
    way->name = name;
    way->limits = limits;
    way->door = door_new(&limits->room);
    way->taker = (struct listen_taker){ways_on_connection, ways_on_asked, way};
}

int ways_open(struct ways *ways, const struct config *config, const char *socket_path,
              struct error *err)
{
    const char *where = config_text(config, "tcp/listen");
    ways->tcp.tls = *where != '\0';
    limits_read(config, ways->tcp.tls, &ways->app->log, &ways->limits);
    open_way(&ways->local, ways, "socket", &ways->limits.local);
    int rc = listen_local(ways->listen, &ways->local.taker, socket_path, err);
    if (rc || !*where)
        return rc;
    open_way(&ways->tcp, ways, "tcp", &ways->limits.tcp);
    return listen_tcp(ways->listen, &ways->tcp.taker, where, err);
}

void ways_limit(struct ways *ways, const struct config *config)
{
    struct way *const each[] = {&ways->local, &ways->tcp};
    limits_read(config, ways->tcp.tls, &ways->app->log, &ways->limits);
    for (int i = 0; i < 2; i++) {
        if (each[i]->door)
            look_at_room(each[i]);
    }
}

struct ways *ways_new(struct event_base *base, struct app *app, const struct conn_events *events,
                      void *owner)
{
    struct ways *ways = xcalloc(1, sizeof *ways);
    ways->base = base;
    ways->app = app;
    ways->events = events;
    ways->owner = owner;
    ways->listen = listen_new(base, &app->log);
    return ways;
}

void ways_free(struct ways *ways)
{
    if (!ways)
        return;
    door_free(ways->local.door);
    door_free(ways->tcp.door);
    listen_free(ways->listen);
    free(ways);
}

void ways_stop(struct ways *ways)
{
    listen_stop(ways->listen);
}

bool ways_is_writing(const struct ways *ways)
{
    return door_is_writing(ways->local.door) || (ways->tcp.door && door_is_writing(ways->tcp.door));
}

void *ways_owner(const struct way *way)
{
    return way->ways->owner;
}

struct door *ways_door(const struct way *way)
{
    return way->door;
}

size_t ways_long_of_peer(const struct way *way)
{
    return way->limits->room.long_of_peer;
}
