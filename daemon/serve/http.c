/* Two threads' worth of care: everything here runs on the loop thread except on_reply() and
 * run_on_reader(). A request leaves the loop as a plain struct, and its answer comes back through
 * `answered`, a list behind a lock, and an eventfd that wakes the loop. */
#include "serve/http.h"
#include "base/text.h"
#include "serve/conn.h"
#include "serve/descriptors.h"
#include "serve/listen.h"
#include "serve/peer.h"
#include "serve/route.h"
#include "serve/sessions.h"
#include "serve/tls.h"
#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent_ssl.h>
#include <event2/http.h>
#include <event2/http_struct.h>
#include <event2/keyvalq_struct.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

/* Descriptors beside connections: a database connection keeps three or four (file, WAL, what it
 * sorts), and there are a few besides the readers'; an upload two; listeners, the loop's own, the
 * pipes of a mail program. */
enum { FILES_STORE = 4, STORES_BESIDE_READERS = 12, FILES_UPLOAD = 2, FILES_REST = 32 };

/* One transport: evhttp makes connections of one kind only. */
struct transport {
    struct http *http;
    struct evhttp *evhttp;
    bool tls;
};

struct pending {
    struct request request;
    struct http *http;
    struct evhttp_request *evreq;
    const struct route *route;
    bool local;
    uid_t uid;
    unsigned certificate_roles;
    char *token;
    struct setup *setup;
    int status;
    const char *type;
    char *answer;
    size_t answer_length;
    struct pending *next;
};

struct http {
    struct event_base *base;
    struct app *app;
    struct transport local, tcp;
    struct listen *listen;
    struct conn_watch *conns;
    size_t pending;
    bool stopping;
    struct event *woken, *changed;
    int wake_fd;
    pthread_mutex_t lock;
    struct pending *answered; /* under lock */
};

/* ---- answers, on the way back ---- */

static void pending_free(struct pending *p)
{
    query_clear(&p->request.query);
    free(p->request.content_type);
    free(p->request.accept);
    free(p->request.body);
    free(p->request.path);
    free(p->token);
    free(p->answer);
    setup_unref(p->setup);
    free(p);
}

/* The way back to the loop: request->reply. */
static void on_reply(struct request *rq, int status, const char *content_type, char *body,
                     size_t length)
{
    struct pending *p = rq->slot;
    struct http *http = p->http;
    p->status = status;
    p->type = content_type;
    p->answer = body;
    p->answer_length = length;
    pthread_mutex_lock(&http->lock);
    bool first = http->answered == NULL;
    p->next = http->answered;
    http->answered = p;
    pthread_mutex_unlock(&http->lock);
    const uint64_t one = 1;
    if (first && write(http->wake_fd, &one, sizeof one) < 0)
        log_write(&http->app->log, LOG_LEVEL_ERROR, "cannot wake the loop errno=%d", errno);
}

/* evhttp_send_reply() that the watch knows to be ours. If the client is gone, evhttp has no
 * connection left and drops the answer. */
static void send_reply(struct http *http, struct evhttp_request *evreq, int status)
{
    struct evhttp_connection *connection = evhttp_request_get_connection(evreq);
    struct bufferevent *bev = connection ? evhttp_connection_get_bufferevent(connection) : NULL;
    conn_watch_answering(http->conns, bev, true);
    evhttp_send_reply(evreq, status, NULL, NULL);
    conn_watch_answering(http->conns, bev, false);
}

static void send_answer(struct pending *p)
{
    struct evkeyvalq *headers = evhttp_request_get_output_headers(p->evreq);
    evhttp_add_header(headers, "Content-Type", p->type);
    evhttp_add_header(headers, "Cache-Control", "no-store");
    evhttp_add_header(headers, "X-Content-Type-Options", "nosniff");
    if (p->status == 503)
        evhttp_add_header(headers, "Retry-After", "1");
    struct evbuffer *body = evhttp_request_get_output_buffer(p->evreq);
    evbuffer_add(body, p->answer, p->answer_length);
    send_reply(p->http, p->evreq, p->status);
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
        send_answer(p);
        http->pending--;
        pending_free(p);
    }
}

/* ---- requests, on the way in ---- */

static void refuse_now(struct http *http, struct evhttp_request *evreq, int status,
                       const char *title, bool close_after)
{
    struct evkeyvalq *headers = evhttp_request_get_output_headers(evreq);
    struct evbuffer *body = evhttp_request_get_output_buffer(evreq);
    evhttp_add_header(headers, "Content-Type", "application/problem+json");
    if (close_after)
        evhttp_add_header(headers, "Connection", "close");
    if (status == 503)
        evhttp_add_header(headers, "Retry-After", "1");
    evbuffer_add_printf(body, "{\"type\":\"about:blank\",\"title\":\"%s\",\"status\":%d}", title,
                        status);
    send_reply(http, evreq, status);
}

static bool is_digits(const char *s)
{
    return *s && s[strspn(s, "0123456789")] == '\0';
}

/* evhttp lets through what other parsers read differently (a second Content-Length, a
 * Transfer-Encoding that isn't plain "chunked", no Host or two): RFC 9112 sections 3.2, 6.1, 6.3.
 */
static const char *bad_framing(struct evhttp_request *evreq)
{
    int lengths = 0, encodings = 0, hosts = 0;
    const struct evkeyvalq *headers = evhttp_request_get_input_headers(evreq);
    for (const struct evkeyval *h = headers->tqh_first; h; h = h->next.tqe_next) {
        if (!h->key[0] || strpbrk(h->key, " \t:"))
            return "A header's name is malformed";
        if (text_equal_fold(h->key, "Content-Length")) {
            lengths++;
            if (!is_digits(h->value))
                return "Content-Length is not a number";
        } else if (text_equal_fold(h->key, "Transfer-Encoding")) {
            encodings++;
            if (!text_equal_fold(h->value, "chunked"))
                return "Only the chunked transfer encoding is known";
        } else if (text_equal_fold(h->key, "Host")) {
            hosts++;
        }
    }
    if (lengths > 1 || encodings > 1 || (lengths && encodings))
        return "The body's length is given twice";
    return hosts == 1 ? NULL : "One Host header is required";
}

static const char *method_name(enum evhttp_cmd_type method)
{
    switch (method) {
    case EVHTTP_REQ_GET:
        return "GET";
    case EVHTTP_REQ_POST:
        return "POST";
    default:
        return "";
    }
}

static void take_body(struct request *rq, struct evbuffer *buffer)
{
    rq->body_length = evbuffer_get_length(buffer);
    rq->body = xmalloc(rq->body_length + 1);
    evbuffer_remove(buffer, rq->body, rq->body_length);
    rq->body[rq->body_length] = '\0';
}

static void take_peer(struct pending *p, struct evhttp_request *evreq, struct bufferevent *bev)
{
    p->local = peer_uid(bufferevent_getfd(bev), &p->uid);
    if (p->local)
        return;
    SSL *ssl = bufferevent_openssl_get_ssl(bev);
    p->certificate_roles = ssl ? tls_peer_roles(ssl, p->request.user, sizeof p->request.user) : 0;
    const char *given =
        evhttp_find_header(evhttp_request_get_input_headers(evreq), "Authorization");
    if (given && strncmp(given, "Bearer ", 7) == 0)
        p->token = xstrdup(given + 7);
}

static struct pending *pending_new(struct http *http, struct evhttp_request *evreq)
{
    const struct evkeyvalq *headers = evhttp_request_get_input_headers(evreq);
    const struct evhttp_uri *uri = evhttp_request_get_evhttp_uri(evreq);
    const char *path = evhttp_uri_get_path(uri);
    const char *type = evhttp_find_header(headers, "Content-Type");
    const char *accept = evhttp_find_header(headers, "Accept");
    struct pending *p = xcalloc(1, sizeof *p);
    p->http = http;
    p->evreq = evreq;
    p->request.app = http->app;
    p->request.slot = p;
    p->request.reply = on_reply;
    p->request.path = xstrdup(path ? path : "");
    p->request.content_type = xstrdup(type ? type : "");
    p->request.accept = xstrdup(accept ? accept : "");
    query_read(evhttp_uri_get_query(uri), &p->request.query);
    take_body(&p->request, evhttp_request_get_input_buffer(evreq));
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

static void refuse_unrouted(struct evhttp_request *evreq, struct pending *p, const char *methods)
{
    if (methods[0])
        evhttp_add_header(evhttp_request_get_output_headers(evreq), "Allow", methods);
    refuse_now(p->http, evreq, methods[0] ? 405 : 404,
               methods[0] ? "That method does not go with this path" : "There is no such path",
               false);
    pending_free(p);
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

static void http_on_request(struct evhttp_request *evreq, void *arg)
{
    struct http *http = ((struct transport *)arg)->http;
    struct bufferevent *bev =
        evhttp_connection_get_bufferevent(evhttp_request_get_connection(evreq));
    conn_watch_arrived(http->conns, bev);
    const char *framing = bad_framing(evreq);
    if (http->stopping) {
        refuse_now(http, evreq, 503, "The daemon is stopping; try again in a moment", true);
        return;
    }
    if (framing) {
        refuse_now(http, evreq, 400, framing, true);
        return;
    }
    char methods[32];
    struct pending *p = pending_new(http, evreq);
    p->route = route_find(method_name(evhttp_request_get_command(evreq)), &p->request, methods,
                          sizeof methods);
    if (!p->route) {
        refuse_unrouted(evreq, p, methods);
        return;
    }
    if (!is_all_text(&p->request)) {
        refuse_now(http, evreq, 400, "The path is not UTF-8 text", false);
        pending_free(p);
        return;
    }
    take_peer(p, evreq, bev);
    bool is_long = p->route->pace == ROUTE_LONG || request_is_lines(&p->request);
    struct readers *readers = is_long ? http->app->bulk : http->app->readers;
    if (readers_submit(readers, &(struct reader_job){run_on_reader, refuse_unbegun, p})) {
        refuse_now(http, evreq, 503, "Too much is waiting; try again in a moment", false);
        pending_free(p);
        return;
    }
    http->pending++;
}

/* ---- listeners ---- */

/* With the certificate in force now. */
static struct bufferevent *tls_bufferevent(const struct http *http, struct event_base *base)
{
    struct setup *setup = app_setup(http->app);
    SSL *ssl = SSL_new(setup->tls); /* keeps a reference of its own; NULL: no memory */
    setup_unref(setup);
    return ssl ? bufferevent_openssl_socket_new(base, -1, ssl, BUFFEREVENT_SSL_ACCEPTING,
                                                BEV_OPT_CLOSE_ON_FREE)
               : NULL;
}

static struct bufferevent *http_on_connection(struct event_base *base, void *arg)
{
    struct transport *t = arg;
    struct bufferevent *bev = t->tls ? tls_bufferevent(t->http, base)
                                     : bufferevent_socket_new(base, -1, BEV_OPT_CLOSE_ON_FREE);
    if (!bev)
        abort(); /* no memory, as in xmalloc(); evhttp would go on with one that knows no TLS */
    conn_watch_add(t->http->conns, bev);
    return bev;
}

static void http_on_full(void *arg, bool is_full)
{
    struct http *http = arg;
    listen_full(http->listen, is_full);
    if (is_full)
        log_write(&http->app->log, LOG_LEVEL_WARNING, "connections full open=%zu",
                  conn_watch_count(http->conns));
}

static void transport_limit(struct transport *t, const struct config *config)
{
    evhttp_set_max_headers_size(t->evhttp,
                                (ev_ssize_t)config_number(config, "limits/header_bytes"));
    evhttp_set_max_body_size(t->evhttp, (ev_ssize_t)config_number(config, "limits/body_bytes"));
    evhttp_set_timeout(t->evhttp, (int)config_number(config, "limits/idle_s"));
}

static int transport_new(struct http *http, struct transport *t, const struct config *config,
                         struct error *err)
{
    t->http = http;
    t->evhttp = evhttp_new(http->base);
    if (!t->evhttp)
        return error_set(err, ERROR_MEMORY, "cannot make the HTTP server");
    transport_limit(t, config);
    evhttp_set_default_content_type(t->evhttp, "application/json");
    /* all known methods come to us, so that a wrong one gets 405 with Allow */
    evhttp_set_allowed_methods(t->evhttp, EVHTTP_REQ_GET | EVHTTP_REQ_POST | EVHTTP_REQ_HEAD |
                                              EVHTTP_REQ_PUT | EVHTTP_REQ_DELETE |
                                              EVHTTP_REQ_OPTIONS | EVHTTP_REQ_PATCH);
    evhttp_set_bevcb(t->evhttp, http_on_connection, t);
    evhttp_set_gencb(t->evhttp, http_on_request, t);
    return 0;
}

static int listen_all(struct http *http, const struct config *config, const char *socket_path,
                      struct error *err)
{
    const char *where = config_text(config, "tcp/listen");
    int rc = transport_new(http, &http->local, config, err);
    if (!rc)
        rc = listen_local(http->listen, http->local.evhttp, socket_path, err);
    if (rc || !*where)
        return rc;
    http->tcp.tls = true;
    rc = transport_new(http, &http->tcp, config, err);
    return rc ? rc : listen_tcp(http->listen, http->tcp.evhttp, where, err);
}

static size_t connections_allowed(const struct http *http, const struct config *config)
{
    size_t stores = (size_t)config_number(config, "readers") + STORES_BESIDE_READERS;
    size_t others = stores * FILES_STORE + (size_t)SESSIONS_MOST * FILES_UPLOAD + FILES_REST;
    return descriptors_allow((size_t)config_number(config, "limits/connections"), others,
                             &http->app->log);
}

static int64_t request_ms(const struct config *config)
{
    return config_number(config, "limits/request_s") * 1000;
}

static void http_on_changed(evutil_socket_t fd, short what, void *arg)
{
    struct http *http = arg;
    struct setup *setup = app_setup(http->app);
    (void)fd;
    (void)what;
    transport_limit(&http->local, setup->config);
    if (http->tcp.evhttp)
        transport_limit(&http->tcp, setup->config);
    conn_watch_limit(http->conns, connections_allowed(http, setup->config),
                     request_ms(setup->config));
    setup_unref(setup);
}

void http_changed(struct http *http)
{
    event_active(http->changed, EV_TIMEOUT, 0);
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
    http->conns = conn_watch_new(base, connections_allowed(http, setup->config),
                                 request_ms(setup->config), http_on_full, http);
    http->wake_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    http->woken = event_new(base, http->wake_fd, EV_READ | EV_PERSIST, http_on_woken, http);
    event_add(http->woken, NULL);
    http->changed = event_new(base, -1, EV_PERSIST, http_on_changed, http);
    int rc = listen_all(http, setup->config, socket_path, err);
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

void http_flush(struct http *http, int64_t patience_ms)
{
    if (!http)
        return;
    const int64_t until_ms = clock_monotonic_ms() + patience_ms;
    http_on_woken(http->wake_fd, 0, http);
    while (conn_watch_is_writing(http->conns) && clock_monotonic_ms() < until_ms)
        event_base_loop(http->base, EVLOOP_ONCE); /* the watch's tick ends an idle wait */
}

void http_free(struct http *http)
{
    if (!http)
        return;
    if (http->local.evhttp)
        evhttp_free(http->local.evhttp);
    if (http->tcp.evhttp)
        evhttp_free(http->tcp.evhttp);
    listen_free(http->listen);
    conn_watch_free(http->conns);
    event_free(http->woken);
    event_free(http->changed);
    close(http->wake_fd);
    pthread_mutex_destroy(&http->lock);
    free(http);
}
