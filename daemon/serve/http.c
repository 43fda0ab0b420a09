/* Two threads' worth of care: everything here runs on the loop thread except on_reply() and
 * run_on_reader(). A request leaves the loop as a plain struct, and its answer comes back through
 * `answered`, a list behind a lock, and an eventfd that wakes the loop. */
#include "serve/http.h"
#include "base/text.h"
#include "serve/descriptors.h"
#include "serve/door.h"
#include "serve/listen.h"
#include "serve/peer.h"
#include "serve/route.h"
#include "serve/sessions.h"
#include "serve/tls.h"
#include <errno.h>
#include <event2/bufferevent_ssl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

/* Descriptors beside connections: a database connection keeps three or four (file, WAL, what it
 * sorts), and there are a few besides the readers'; an upload two; listeners, the loop's own, the
 * pipes of a mail program. */
enum { FILES_STORE = 4, STORES_BESIDE_READERS = 12, FILES_UPLOAD = 2, FILES_REST = 32 };
enum { HEADER_LINES = 256, FULL_TOLD_MS = 60000 };

/* One way in. */
struct transport {
    struct http *http;
    const char *name;
    bool tls;
    struct door_limits room;
    struct conn_limits patience;
    struct door *door; /* NULL: this way there is none */
    struct listen_taker taker;
    int64_t full_told_ms;
};

/* A request, from its head to the end of its answer. It is the connection's while the loop has it,
 * and outlives the connection while a reader has it. */
struct pending {
    struct request request;
    struct http *http;
    struct transport *transport;
    struct conn *conn; /* NULL: it has gone */
    const struct route *route;
    struct door_peer *long_of; /* counts as long work of that peer */
    bool local, away;          /* away: with a reader */
    bool begun;                /* a piece of the answer has left */
    uid_t uid;
    unsigned certificate_roles;
    char *token;
    struct setup *setup;
    struct request_answer answer;
    struct pending *next;
};

struct http {
    struct event_base *base;
    struct app *app;
    struct transport local, tcp;
    struct listen *listen;
    size_t pending;
    uint64_t connections; /* so far: numbers them */
    bool stopping;
    struct event *woken, *changed;
    int wake_fd;
    pthread_mutex_t lock;
    struct pending *answered; /* under lock */
};

/* ---- answers, on the way back ---- */

static void pending_free(struct pending *p)
{
    if (p->request.stream)
        p->request.stream_free(p->request.stream);
    door_end_long(p->transport->door, p->long_of);
    query_clear(&p->request.query);
    free(p->request.content_type);
    free(p->request.accept);
    free(p->request.body);
    free(p->request.path);
    free(p->token);
    free(p->answer.body);
    setup_unref(p->setup);
    free(p);
}

/* The way back to the loop: request->reply. */
static void on_reply(struct request *rq, const struct request_answer *answer)
{
    struct pending *p = rq->slot;
    struct http *http = p->http;
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

static const char BUSY[] = "Retry-After: 1\r\n";

/* The headers of every answer, those of `more` behind them. */
static struct conn_head head_of(int status, const char *type, const char *more,
                                char lines[static HEADER_LINES])
{
    snprintf(lines, HEADER_LINES,
             "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
             "Cross-Origin-Resource-Policy: same-origin\r\n%s%s",
             status == 503 ? BUSY : "", more);
    return (struct conn_head){.status = status, .type = type, .lines = lines};
}

/* The client is told that nothing more comes by a connection that breaks off. */
static void break_off(struct pending *p, const char *why)
{
    log_write(&p->http->app->log, LOG_LEVEL_WARNING, "an answer was broken off path=%s reason=%s",
              p->request.path, why);
    conn_close(p->conn);
}

/* Passes the bytes on; true if the request goes on. */
static bool send_piece(struct pending *p)
{
    char lines[HEADER_LINES];
    struct conn_head head = head_of(p->answer.status, p->answer.type, "", lines);
    bool first = !p->begun;
    p->begun = true;
    char *body = p->answer.body;
    p->answer.body = NULL;
    return conn_piece(p->conn, first ? &head : NULL, body, p->answer.length, !p->answer.more);
}

static void send_answer(struct pending *p)
{
    char lines[HEADER_LINES];
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
        struct conn_head head = head_of(p->answer.status, p->answer.type, "", lines);
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

/* ---- refusals of the loop itself ---- */

struct refusal {
    int status;
    const char *title;
    char detail[200];
    char more[64]; /* headers */
    bool close;
};

static void refuse(struct refusal *r, int status, const char *title, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void refuse(struct refusal *r, int status, const char *title, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    r->status = status;
    r->title = title;
    vsnprintf(r->detail, sizeof r->detail, format, args);
    va_end(args);
}

static void refuse_now(struct conn *conn, const struct refusal *r)
{
    char lines[HEADER_LINES];
    struct conn_head head = head_of(r->status, "application/problem+json", r->more, lines);
    head.close = r->close;
    char *body = request_problem(r->status, r->title, r->detail);
    conn_answer(conn, &head, body, strlen(body));
}

static void refuse_stopping(struct refusal *r)
{
    refuse(r, 503, "The daemon is stopping", "the daemon is stopping; try again in a moment");
    r->close = true;
}

static void http_on_fault(void *arg, struct conn *conn, const struct wire_fault *fault)
{
    struct refusal r = {.close = true};
    struct pending *p = conn_owner(conn);
    (void)arg;
    conn_set_owner(conn, NULL);
    if (p)
        pending_free(p);
    refuse(&r, fault->status,
           fault->status == 413   ? "The body is larger than this daemon takes"
           : fault->status == 408 ? "The request came too slowly"
           : fault->status == 501 ? "That is not known here"
                                  : "The request is malformed",
           "%s", fault->detail);
    refuse_now(conn, &r);
}

/* ---- requests, on the way in ---- */

static void take_peer(struct pending *p, struct bufferevent *bev)
{
    p->local = peer_uid(bufferevent_getfd(bev), &p->uid);
    if (p->local)
        return;
    SSL *ssl = bufferevent_openssl_get_ssl(bev);
    p->certificate_roles = ssl ? tls_peer_roles(ssl, p->request.user, sizeof p->request.user) : 0;
    const char *given = wire_header(conn_wire(p->conn), "Authorization");
    if (given && strncmp(given, "Bearer ", 7) == 0)
        p->token = xstrdup(given + 7);
}

static char *copy_header(const struct wire *wire, const char *name)
{
    const char *value = wire_header(wire, name);
    return xstrdup(value ? value : "");
}

static struct pending *pending_new(struct transport *t, struct conn *conn)
{
    struct wire *wire = conn_wire(conn);
    struct pending *p = xcalloc(1, sizeof *p);
    p->http = t->http;
    p->transport = t;
    p->conn = conn;
    p->request.app = t->http->app;
    p->request.slot = p;
    p->request.reply = on_reply;
    p->request.connection = conn_number(conn);
    p->request.path = xstrdup(wire_path(wire));
    p->request.content_type = copy_header(wire, "Content-Type");
    p->request.accept = copy_header(wire, "Accept");
    query_read(wire_query(wire), &p->request.query);
    take_peer(p, conn_bufferevent(conn));
    return p;
}

static unsigned token_roles(struct pending *p)
{
    char name[sizeof p->request.user];
    unsigned roles = peer_roles_of_token(p->setup->config, p->token, name, sizeof name);
    if (roles && !p->request.user[0])
        text_clip(name, p->request.user, sizeof p->request.user);
    return roles;
}

/* What the peer may do, and its name. */
static unsigned roles_of(struct pending *p)
{
    if (!p->local)
        return p->certificate_roles | (p->token ? token_roles(p) : 0);
    peer_name_of_uid(p->uid, p->request.user, sizeof p->request.user);
    return peer_roles_of_uid(p->setup->config, p->uid);
}

static int check_role(struct pending *p, struct error *err)
{
    char needed[64];
    p->request.roles = roles_of(p);
    if (p->request.roles & p->route->roles)
        return 0;
    peer_role_words(p->route->roles, needed, sizeof needed);
    error_set(err, ERROR_DENIED, "this needs the role %s", needed);
    error_hint(err, "ask the administrator to add you to that role's group (config roles/…)");
    return ERROR_DENIED;
}

static void run_on_reader(struct store *store, void *arg)
{
    struct pending *p = arg;
    struct error err = {0};
    setup_unref(p->setup); /* of the piece before */
    p->setup = app_setup(p->http->app);
    int rc = check_role(p, &err);
    if (!rc)
        rc = query_check(&p->request.query, p->route->query, &err);
    if (rc) {
        request_reply_error(&p->request, rc, &err);
        return;
    }
    /* a question gets one state of the store; what changes it looks again after its commit */
    bool began = strcmp(p->route->method, "GET") == 0 && store_look(store);
    p->route->handler(&p->request, store);
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

static bool is_known_method(const char *method)
{
    static const char *const KNOWN[] = {"GET",    "HEAD",    "POST",  "PUT",
                                        "DELETE", "OPTIONS", "PATCH", "TRACE"};
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++) {
        if (strcmp(KNOWN[i], method) == 0)
            return true;
    }
    return false;
}

/* What the path says must be text: it may be stored and shown again. */
static bool is_all_text(const struct request *rq)
{
    for (int i = 0; i < REQUEST_PARTS; i++) {
        if (rq->part[i] && !text_is_utf8(rq->part[i], strlen(rq->part[i])))
            return false;
    }
    return true;
}

/* HEAD is GET without the body. */
static void find_route(struct pending *p, const char *method, struct refusal *r)
{
    char methods[32];
    bool is_head = strcmp(method, "HEAD") == 0;
    p->route = route_find(is_head ? "GET" : method, &p->request, methods, sizeof methods);
    if (!is_known_method(method)) {
        refuse(r, 501, "That method is not known", "of methods GET, HEAD and POST are taken");
    } else if (!p->route && methods[0]) {
        bool reads = strstr(methods, "GET") != NULL;
        refuse(r, 405, "That method does not go with this path", "this path takes %s%s", methods,
               reads ? ", HEAD" : "");
        snprintf(r->more, sizeof r->more, "Allow: %s%s\r\n", methods, reads ? ", HEAD" : "");
    } else if (!p->route) {
        refuse(r, 404, "There is no such path", "oddloafd(8) lists the paths, all below /v1/");
    } else if (!is_all_text(&p->request)) {
        refuse(r, 400, "The path is not text", "what the path escapes is not UTF-8");
    }
}

/* What a page of another site can have a browser send, with the certificate of whoever reads it. No
 * page of ours posts anything, so that nothing a browser posts is meant. */
static void refuse_browsers(const struct wire *wire, struct refusal *r)
{
    static const char *const FORMS[] = {"text/plain", "multipart/form-data",
                                        "application/x-www-form-urlencoded"};
    const char *site = wire_header(wire, "Sec-Fetch-Site");
    const char *type = wire_header(wire, "Content-Type");
    if (strcmp(wire_method(wire), "POST") != 0)
        return;
    if (wire_header(wire, "Origin") || (site && strcmp(site, "none") != 0)) {
        refuse(r, 403, "Not from a page of the web",
               "a browser sends this for a page, and no page of this daemon sends anything");
        return;
    }
    for (size_t i = 0; type && i < sizeof FORMS / sizeof FORMS[0]; i++) {
        char word[64];
        snprintf(word, sizeof word, "%.*s", (int)strcspn(type, "; \t"), type);
        if (text_equal_fold(word, FORMS[i]))
            refuse(r, 415, "That type of body is not taken",
                   "%s is no type that is read here: application/json, application/x-ndjson, "
                   "text/csv",
                   FORMS[i]);
    }
}

/* Who brings nothing to be known by is not read any further. */
static void refuse_strangers(const struct pending *p, struct refusal *r)
{
    char needed[64];
    if (p->local || p->certificate_roles || p->token || !p->route)
        return;
    peer_role_words(p->route->roles, needed, sizeof needed);
    refuse(r, 403, "Not allowed for this role", "this needs the role %s", needed);
}

static void refuse_at_head(struct pending *p, struct refusal *r)
{
    const struct wire *wire = conn_wire(p->conn);
    SSL *ssl = bufferevent_openssl_get_ssl(conn_bufferevent(p->conn));
    if (p->http->stopping)
        refuse_stopping(r);
    else if (ssl && !tls_names(ssl, wire_host(wire)))
        refuse(r, 421, "Another host is meant",
               "the daemon's certificate does not name the host %.100s", wire_host(wire));
    if (!r->status)
        find_route(p, wire_method(wire), r);
    if (!r->status)
        refuse_browsers(wire, r);
    if (!r->status)
        refuse_strangers(p, r);
}

static void http_on_head(void *arg, struct conn *conn)
{
    struct refusal r = {0};
    struct pending *p = pending_new(arg, conn);
    refuse_at_head(p, &r);
    if (!r.status) {
        conn_set_owner(conn, p);
        return;
    }
    pending_free(p);
    refuse_now(conn, &r);
}

/* Has a reader make the answer, or its next piece. */
static int send_away(struct pending *p)
{
    bool is_long = p->route->pace == ROUTE_LONG || request_is_lines(&p->request);
    struct readers *readers = is_long ? p->http->app->bulk : p->http->app->readers;
    if (is_long && !p->long_of)
        p->long_of = door_begin_long(p->transport->door, p->conn);
    if (is_long && !p->long_of)
        return ERROR_TOO_LARGE;
    if (readers_submit(readers, &(struct reader_job){run_on_reader, refuse_unbegun, p}))
        return ERROR_BUSY;
    p->away = true;
    p->http->pending++;
    return 0;
}

static void http_on_request(void *arg, struct conn *conn)
{
    struct refusal r = {0};
    struct pending *p = conn_owner(conn);
    (void)arg;
    p->request.body = wire_take_body(conn_wire(conn), &p->request.body_length);
    int rc = p->http->stopping ? ERROR_DENIED : send_away(p);
    if (!rc)
        return;
    if (rc == ERROR_DENIED)
        refuse_stopping(&r);
    else if (rc == ERROR_TOO_LARGE)
        refuse(
            &r, 503, "Too much of yours is waiting",
            "%zu files, batches and other long work of yours wait already; try again when one is "
            "done (limits/peer_long)",
            p->transport->room.long_of_peer);
    else
        refuse(&r, 503, "Too much is waiting", "too much is waiting; try again in a moment");
    conn_set_owner(conn, NULL);
    pending_free(p);
    refuse_now(conn, &r);
}

static void http_on_taken(void *arg, struct conn *conn)
{
    struct pending *p = conn_owner(conn);
    (void)arg;
    if (p->http->stopping)
        break_off(p, "the daemon is stopping");
    else if (send_away(p))
        break_off(p, "too much is waiting");
}

/* ---- connections ---- */

static void tell_full(struct transport *t, const char *peer, enum door_answer answer)
{
    int64_t now_ms = clock_monotonic_ms();
    if (t->full_told_ms && now_ms - t->full_told_ms < FULL_TOLD_MS)
        return;
    t->full_told_ms = now_ms;
    log_write(&t->http->app->log, LOG_LEVEL_WARNING, "connections full at=%s open=%zu%s%s", t->name,
              door_count(t->door), answer == DOOR_PEER_FULL ? " peer=" : "",
              answer == DOOR_PEER_FULL ? peer : "");
}

/* While it is full nobody is taken in: those who wait outside are told of here. */
static void look_at_room(struct transport *t)
{
    bool full = door_is_full(t->door);
    if (full)
        tell_full(t, "", DOOR_FULL);
    listen_full(t->http->listen, &t->taker, full);
}

static void http_on_idle(void *arg, struct conn *conn, bool is_idle)
{
    struct transport *t = arg;
    door_idle(t->door, conn, is_idle);
    look_at_room(t);
}

static void http_on_gone(void *arg, struct conn *conn, bool left)
{
    struct transport *t = arg;
    struct pending *p = conn_owner(conn);
    if (p && p->away)
        p->conn = NULL;
    else if (p)
        pending_free(p);
    if (left)
        sessions_left(t->http->app->sessions, conn_number(conn), app_now_ms(t->http->app));
    door_leave(t->door, conn);
    look_at_room(t);
}

/* With the certificate in force now. */
static struct bufferevent *tls_bufferevent(const struct http *http, evutil_socket_t fd)
{
    struct setup *setup = app_setup(http->app);
    SSL *ssl = SSL_new(setup->tls); /* keeps a reference of its own; NULL: no memory */
    setup_unref(setup);
    return ssl ? bufferevent_openssl_socket_new(http->base, fd, ssl, BUFFEREVENT_SSL_ACCEPTING,
                                                BEV_OPT_CLOSE_ON_FREE)
               : NULL;
}

/* To one who is not let in; as far as a word goes without waiting. */
static void send_away_at_door(const struct transport *t, evutil_socket_t fd)
{
    char *body = request_problem(503, "Too many connections",
                                 "too many connections are open; try again in a moment");
    struct text_buffer out = {0};
    text_appendf(&out,
                 "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\n"
                 "%sContent-Length: %zu\r\nConnection: close\r\n\r\n%s",
                 BUSY, strlen(body), body);
    if (!t->tls)
        send(fd, out.data, out.length, MSG_DONTWAIT | MSG_NOSIGNAL);
    text_buffer_free(&out);
    free(body);
    evutil_closesocket(fd);
}

static void http_on_connection(void *arg, evutil_socket_t fd, const struct sockaddr *from)
{
    static const struct conn_events EVENTS = {http_on_head,  http_on_request, http_on_fault,
                                              http_on_taken, http_on_idle,    http_on_gone};
    struct transport *t = arg;
    struct http *http = t->http;
    char peer[DOOR_PEER];
    peer_name_at_door(fd, from, peer, sizeof peer);
    bool was_full = door_count(t->door) >= t->room.connections;
    enum door_answer answer = door_ask(t->door, peer);
    if (was_full || answer != DOOR_OPEN)
        tell_full(t, peer, answer);
    if (answer != DOOR_OPEN) {
        send_away_at_door(t, fd);
        return;
    }
    struct bufferevent *bev = t->tls
                                  ? tls_bufferevent(http, fd)
                                  : bufferevent_socket_new(http->base, fd, BEV_OPT_CLOSE_ON_FREE);
    if (!bev)
        abort(); /* no memory, as in xmalloc() */
    struct conn *conn = conn_new(bev, &t->patience, &EVENTS, t);
    conn_set_number(conn, ++http->connections);
    door_enter(t->door, conn, peer);
    conn_start(conn);
}

/* ---- limits ---- */

static void transport_limit(struct transport *t, const struct config *config, size_t connections)
{
    const int64_t idle_ms = config_number(config, "limits/idle_s") * 1000;
    const int64_t hello_ms = config_number(config, "limits/hello_s") * 1000;
    const size_t of_peer = (size_t)config_number(config, "limits/peer_connections");
    t->room =
        (struct door_limits){.connections = connections,
                             .of_peer = of_peer,
                             .long_of_peer = (size_t)config_number(config, "limits/peer_long")};
    t->patience =
        (struct conn_limits){.wire = {(size_t)config_number(config, "limits/header_bytes"),
                                      (size_t)config_number(config, "limits/body_bytes")},
                             .first_ms = t->tls ? hello_ms : 0,
                             .request_ms = config_number(config, "limits/request_s") * 1000,
                             .idle_ms = idle_ms};
}

/* As many as the process may open files: short of them, TCP has half of what fits at most. */
static void limit(struct http *http, const struct config *config)
{
    const size_t stores = (size_t)config_number(config, "readers") + STORES_BESIDE_READERS;
    const size_t others = stores * FILES_STORE + (size_t)SESSIONS_MOST * FILES_UPLOAD + FILES_REST;
    size_t local = (size_t)config_number(config, "limits/connections");
    size_t tcp = http->tcp.tls ? (size_t)config_number(config, "limits/tcp_connections") : 0;
    const size_t fit = descriptors_allow(local + tcp, others, &http->app->log);
    if (fit < local + tcp) {
        tcp = tcp < fit / 2 ? tcp : fit / 2;
        local = local < fit - tcp ? local : fit - tcp;
    }
    transport_limit(&http->local, config, local);
    transport_limit(&http->tcp, config, tcp);
}

static void http_on_changed(evutil_socket_t fd, short what, void *arg)
{
    struct http *http = arg;
    struct setup *setup = app_setup(http->app);
    (void)fd;
    (void)what;
    limit(http, setup->config);
    setup_unref(setup);
    struct transport *const ways[] = {&http->local, &http->tcp};
    for (int i = 0; i < 2; i++) {
        if (ways[i]->door)
            look_at_room(ways[i]);
    }
}

void http_changed(struct http *http)
{
    event_active(http->changed, EV_TIMEOUT, 0);
}

static bool transport_is_full(void *transport)
{
    const struct transport *t = transport;
    return door_is_full(t->door);
}

static void transport_open(struct http *http, struct transport *t, const char *name)
{
    t->http = http;
    t->name = name;
    t->door = door_new(&t->room);
    t->taker = (struct listen_taker){http_on_connection, transport_is_full, t};
}

static int listen_all(struct http *http, const struct config *config, const char *socket_path,
                      struct error *err)
{
    const char *where = config_text(config, "tcp/listen");
    http->tcp.tls = *where != '\0';
    limit(http, config);
    transport_open(http, &http->local, "socket");
    int rc = listen_local(http->listen, &http->local.taker, socket_path, err);
    if (rc || !*where)
        return rc;
    transport_open(http, &http->tcp, "tcp");
    return listen_tcp(http->listen, &http->tcp.taker, where, err);
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
    struct http *http = xcalloc(1, sizeof *http);
    struct setup *setup = app_setup(app);
    http->base = base;
    http->app = app;
    pthread_mutex_init(&http->lock, NULL);
    http->listen = listen_new(base, &app->log);
    http->changed = event_new(base, -1, EV_PERSIST, http_on_changed, http);
    int rc = wake_open(http, err);
    if (!rc)
        rc = listen_all(http, setup->config, socket_path, err);
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
    listen_stop(http->listen);
}

size_t http_pending(const struct http *http)
{
    return http->pending;
}

static bool is_writing(const struct http *http)
{
    return door_is_writing(http->local.door) || (http->tcp.door && door_is_writing(http->tcp.door));
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
    while (is_writing(http) && clock_monotonic_ms() < until_ms)
        event_base_loop(http->base, EVLOOP_ONCE);
    event_free(tick);
}

void http_free(struct http *http)
{
    if (!http)
        return;
    door_free(http->local.door);
    door_free(http->tcp.door);
    listen_free(http->listen);
    if (http->woken) {
        event_free(http->woken);
        close(http->wake_fd);
    }
    event_free(http->changed);
    pthread_mutex_destroy(&http->lock);
    free(http);
}
