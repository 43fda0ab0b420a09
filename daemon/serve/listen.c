#include "serve/listen.h"
#include "base/text.h"
#include "serve/service.h"
#include <assert.h>
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
 * but one group where there are several roles. */
enum { SOCKET_MODE = 0666 };
enum {
    HANDED_DOWN = 4,
    LISTENERS = HANDED_DOWN + 1 /* TCP */,
    BACKLOG = 4096,
    TICK_MS = 250,
    SPARE = 8
};

struct listener {
    struct listen *owner;
    const struct listen_taker *taker; /* borrowed */
    struct evconnlistener *socket;
    bool full;
};

struct listen {
    struct event_base *base;
    const struct log *log;
    struct listener listener[LISTENERS];
    int count;
    char *socket_path; /* the file we made; NULL if handed down */
    struct stat socket_file;
    struct event *tick;
    bool starved, stopped;
};

static void apply(struct listen *l)
{
    for (int i = 0; i < l->count; i++) {
        const struct listener *one = &l->listener[i];
        if (one->full || l->starved || l->stopped)
            evconnlistener_disable(one->socket);
        else
            evconnlistener_enable(one->socket);
    }
}

/* The tick sees to the rest. */
static void listen_on_error(struct evconnlistener *listener, void *one)
{
    (void)one;
    evconnlistener_disable(listener);
}

static void listen_on_connection(struct evconnlistener *listener, evutil_socket_t fd,
                                 struct sockaddr *from, int length, void *arg)
{
    const struct listener *one = arg;
    (void)listener;
    (void)length;
    one->taker->take(one->taker->arg, fd, from);
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
    for (int i = 0; i < l->count; i++) {
        struct listener *one = &l->listener[i];
        one->full = one->full && one->taker->is_full(one->taker->arg);
    }
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
    for (int i = 0; i < l->count; i++)
        evconnlistener_free(l->listener[i].socket);
    remove_socket(l);
    free(l->socket_path);
    free(l);
}

enum { FLAGS = LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC };

/* NULL `address`: `fd` listens already. NULL if the system refuses. */
static struct evconnlistener *add(struct listen *l, const struct listen_taker *taker, int fd,
                                  const struct sockaddr *address, int length)
{
    assert(l->count < LISTENERS);
    struct listener *one = &l->listener[l->count];
    *one = (struct listener){.owner = l, .taker = taker};
    one->socket = address
                      ? evconnlistener_new_bind(l->base, listen_on_connection, one,
                                                FLAGS | LEV_OPT_REUSEABLE, BACKLOG, address, length)
                      : evconnlistener_new(l->base, listen_on_connection, one, FLAGS, 0, fd);
    if (!one->socket)
        return NULL;
    evconnlistener_set_error_cb(one->socket, listen_on_error);
    l->count++;
    return one->socket;
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

static int listen_at(struct listen *l, const struct listen_taker *taker, const char *path,
                     struct error *err)
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
    const struct evconnlistener *made =
        add(l, taker, -1, (const struct sockaddr *)&address, sizeof address);
    umask(was);
    if (!made) {
        error_set(err, ERROR_IO, "cannot listen at %s: %s", path, strerror(errno));
        error_hint(err, "check that its folder exists and is writable");
        return ERROR_IO;
    }
    l->socket_path = xstrdup(path);
    lstat(path, &l->socket_file);
    return 0;
}

/* *ret_count 0 if none. */
static int listen_handed_down(struct listen *l, const struct listen_taker *taker, int *ret_count,
                              struct error *err)
{
    int first;
    int rc = service_sockets(&first, ret_count, err);
    if (!rc && *ret_count > HANDED_DOWN) {
        error_hint(err, "leave at most %d lines ListenStream= in oddloafd.socket", HANDED_DOWN);
        return error_set(err, ERROR_INVALID, "%d sockets are handed down, more than %d", *ret_count,
                         HANDED_DOWN);
    }
    for (int i = 0; !rc && i < *ret_count; i++) {
        evutil_make_socket_nonblocking(first + i);
        evutil_make_socket_closeonexec(first + i);
        /* backlog 0: it listens already */
        if (!add(l, taker, first + i, NULL, 0))
            rc = error_set(err, ERROR_IO, "cannot listen: %s", strerror(errno));
    }
    return rc;
}

int listen_local(struct listen *l, const struct listen_taker *taker, const char *path,
                 struct error *err)
{
    int handed_down;
    int rc = listen_handed_down(l, taker, &handed_down, err);
    return rc || handed_down ? rc : listen_at(l, taker, path, err);
}

/* ---- TCP ---- */

static int parse(const char *where, struct sockaddr_storage *ret, int *ret_length,
                 struct error *err)
{
    static const char PORT[] = "0123456789";
    const char *port = strrchr(where, ':');
    *ret_length = sizeof *ret;
    if (port && port[1] && !port[1 + strspn(port + 1, PORT)] &&
        evutil_parse_sockaddr_port(where, (struct sockaddr *)ret, ret_length) == 0)
        return 0;
    error_set(err, ERROR_INVALID, "must be an address and a port, 192.0.2.10:8443");
    error_field(err, "tcp/listen", where);
    return ERROR_INVALID;
}

int listen_check(const char *where, struct error *err)
{
    struct sockaddr_storage address;
    int length;
    return parse(where, &address, &length, err);
}

int listen_tcp(struct listen *l, const struct listen_taker *taker, const char *where,
               struct error *err)
{
    struct sockaddr_storage address;
    int length, rc = parse(where, &address, &length, err);
    if (rc)
        return rc;
    struct evconnlistener *made = add(l, taker, -1, (const struct sockaddr *)&address, length);
    if (!made)
        return error_set(err, ERROR_IO, "cannot listen at %s: %s", where, strerror(errno));
    /* A connection inherits it. Head and body of an answer leave as two TLS records: without it the
     * second waits for the client's delayed acknowledgement of the first, 40 ms. */
    const int on = 1;
    setsockopt(evconnlistener_get_fd(made), IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    return 0;
}

/* ---- resting ---- */

void listen_full(struct listen *l, const struct listen_taker *taker, bool is_full)
{
    for (int i = 0; i < l->count; i++) {
        if (l->listener[i].taker == taker)
            l->listener[i].full = is_full;
    }
    apply(l);
}

void listen_stop(struct listen *l)
{
    l->stopped = true;
    apply(l);
}
