#include "serve/listen.h"
#include "base/text.h"
#include "serve/service.h"
#include <errno.h>
#include <event2/listener.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

/* Anybody of this machine may connect: what one may do goes by the peer's groups, and a file has
 * but one group where there are four roles. */
enum { SOCKET_MODE = 0666 };
enum { LISTENERS = 4, BACKLOG = 128, TICK_MS = 250, SPARE = 8 };

struct listen {
    struct event_base *base;
    const struct log *log;
    struct evconnlistener *listener[LISTENERS]; /* owned by their evhttp */
    int count;
    char *socket_path; /* the file we made; NULL if handed down */
    struct stat socket_file;
    struct event *tick;
    bool full, starved, stopped;
};

static void apply(struct listen *l)
{
    for (int i = 0; i < l->count; i++) {
        if (l->full || l->starved || l->stopped)
            evconnlistener_disable(l->listener[i]);
        else
            evconnlistener_enable(l->listener[i]);
    }
}

/* evhttp has put its own pointer where a listener's callbacks look for ours, so this one knows
 * nothing but the listener. The tick sees to the rest. */
static void listen_on_error(struct evconnlistener *listener, void *evhttps)
{
    (void)evhttps;
    evconnlistener_disable(listener);
}

/* NULL if `count` descriptors could be opened now, else why not. */
static const char *shortage(int count)
{
    int fds[SPARE], opened = 0;
    while (opened < count && (fds[opened] = fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 0)) >= 0)
        opened++;
    int failed = opened < count ? errno : 0;
    while (opened > 0)
        close(fds[--opened]);
    return failed == EMFILE || failed == ENFILE ? strerror(failed) : NULL;
}

/* It takes more to go on than to rest, lest the last descriptor go to and fro. */
static void listen_on_tick(evutil_socket_t fd, short what, void *arg)
{
    struct listen *l = arg;
    const char *why = shortage(l->starved ? SPARE : 1);
    (void)fd;
    (void)what;
    if (why && !l->starved)
        log_write(l->log, LOG_LEVEL_ERROR,
                  "cannot take connections: %s; raise LimitNOFILE= of the unit (ulimit -n) or "
                  "lower limits/connections",
                  why);
    else if (!why && l->starved)
        log_write(l->log, LOG_LEVEL_INFO, "connections are taken again");
    l->starved = why != NULL;
    apply(l);
}

struct listen *listen_new(struct event_base *base, const struct log *log)
{
    struct listen *l = xcalloc(1, sizeof *l);
    const struct timeval every = {0, TICK_MS * INT64_C(1000)};
    l->base = base;
    l->log = log;
    l->tick = event_new(base, -1, EV_PERSIST, listen_on_tick, l);
    event_add(l->tick, &every);
    return l;
}

/* What stands at its path by now may be another's. */
static void remove_socket(const struct listen *l)
{
    struct stat st;
    if (l->socket_path && lstat(l->socket_path, &st) == 0 && st.st_dev == l->socket_file.st_dev &&
        st.st_ino == l->socket_file.st_ino)
        unlink(l->socket_path);
}

void listen_free(struct listen *l)
{
    if (!l)
        return;
    event_free(l->tick);
    remove_socket(l);
    free(l->socket_path);
    free(l);
}

static int add(struct listen *l, struct evhttp *evhttp, struct evconnlistener *listener,
               struct error *err)
{
    if (!listener || l->count == LISTENERS || !evhttp_bind_listener(evhttp, listener)) {
        error_set(err, ERROR_IO, "cannot listen: %s", strerror(errno));
        if (listener)
            evconnlistener_free(listener);
        return ERROR_IO;
    }
    evconnlistener_set_error_cb(listener, listen_on_error);
    l->listener[l->count++] = listener;
    return 0;
}

/* ---- the Unix socket ---- */

/* A socket file nobody answers at is left over from a crash; one that answers is another daemon,
 * and what is no socket is somebody's file. */
static int clear_stale(const char *path, const struct sockaddr_un *address, struct error *err)
{
    struct stat st;
    if (lstat(path, &st))
        return 0;
    if (!S_ISSOCK(st.st_mode)) {
        error_hint(err, "move it away, or choose another --socket");
        return error_set(err, ERROR_CONFLICT, "%s is no socket", path);
    }
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool answered = fd >= 0 && connect(fd, (const struct sockaddr *)address, sizeof *address) == 0;
    if (fd >= 0)
        close(fd);
    if (answered) {
        error_set(err, ERROR_CONFLICT, "another daemon answers at %s", path);
        error_hint(err, "stop it first, or choose another --socket");
        return ERROR_CONFLICT;
    }
    unlink(path);
    return 0;
}

static int listen_at(struct listen *l, struct evhttp *evhttp, const char *path, struct error *err)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path)
        return error_set(err, ERROR_INVALID, "the socket's path is longer than %zu bytes: %s",
                         sizeof address.sun_path - 1, path);
    memcpy(address.sun_path, path, strlen(path) + 1);
    int rc = clear_stale(path, &address, err);
    if (rc)
        return rc;
    mode_t was = umask((mode_t)(0777 & ~SOCKET_MODE));
    struct evconnlistener *listener =
        evconnlistener_new_bind(l->base, NULL, NULL, LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC,
                                BACKLOG, (struct sockaddr *)&address, sizeof address);
    umask(was);
    if (!listener) {
        error_set(err, ERROR_IO, "cannot listen at %s: %s", path, strerror(errno));
        error_hint(err, "check that its folder exists and is writable");
        return ERROR_IO;
    }
    l->socket_path = xstrdup(path);
    lstat(path, &l->socket_file);
    return add(l, evhttp, listener, err);
}

/* *ret_count 0 if none. */
static int listen_handed_down(struct listen *l, struct evhttp *evhttp, int *ret_count,
                              struct error *err)
{
    int first;
    int rc = service_sockets(&first, ret_count, err);
    for (int i = 0; !rc && i < *ret_count; i++) {
        evutil_make_socket_nonblocking(first + i);
        evutil_make_socket_closeonexec(first + i);
        /* backlog 0: it listens already */
        struct evconnlistener *listener =
            evconnlistener_new(l->base, NULL, NULL, LEV_OPT_CLOSE_ON_FREE, 0, first + i);
        rc = add(l, evhttp, listener, err);
    }
    return rc;
}

int listen_local(struct listen *l, struct evhttp *evhttp, const char *path, struct error *err)
{
    int handed_down;
    int rc = listen_handed_down(l, evhttp, &handed_down, err);
    return rc || handed_down ? rc : listen_at(l, evhttp, path, err);
}

/* ---- TCP ---- */

int listen_tcp(struct listen *l, struct evhttp *evhttp, const char *where, struct error *err)
{
    struct sockaddr_storage address;
    int length = sizeof address;
    if (evutil_parse_sockaddr_port(where, (struct sockaddr *)&address, &length)) {
        error_set(err, ERROR_INVALID, "must be an address and a port, 192.0.2.10:8443");
        error_field(err, "tcp/listen", where);
        return ERROR_INVALID;
    }
    struct evconnlistener *listener = evconnlistener_new_bind(
        l->base, NULL, NULL, LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC | LEV_OPT_REUSEABLE,
        BACKLOG, (struct sockaddr *)&address, length);
    if (!listener)
        return error_set(err, ERROR_IO, "cannot listen at %s: %s", where, strerror(errno));
    /* A connection inherits it. Head and body of an answer leave as two TLS records: without it the
     * second waits for the client's delayed acknowledgement of the first, 40 ms. */
    const int on = 1;
    setsockopt(evconnlistener_get_fd(listener), IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    return add(l, evhttp, listener, err);
}

/* ---- resting ---- */

void listen_full(struct listen *l, bool is_full)
{
    l->full = is_full;
    apply(l);
}

void listen_stop(struct listen *l)
{
    l->stopped = true;
    apply(l);
}
