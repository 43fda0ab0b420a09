/* Bytes in, bytes out: what comes back on a socket, whole but for the date, in
 * tests/serve/told/http.txt. After a change that was meant, PAGES=write in the environment writes
 * it anew: read the difference. */
#include "../pages.h"
#include "fixture.h"
#include "serve/http.h"
#include <errno.h>
#include <event2/event.h>
#include <event2/thread.h>
#include <poll.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

enum { PATIENCE_MS = 60000 };

struct served {
    struct fixture *f;
    struct event_base *base;
    struct http *http;
    char socket[96];
};

static int served_open(void **state)
{
    static struct served one;
    struct served *s = &one;
    struct error err = {0};
    signal(SIGPIPE, SIG_IGN);
    evthread_use_pthreads();
    s->f = fixture_start(FIXTURE_SETTINGS ",'limits':{'connections':4,'peer_connections':4}");
    s->base = event_base_new();
    snprintf(s->socket, sizeof s->socket, "%s/sock", s->f->dir);
    if (http_start(s->base, &s->f->app, s->socket, &s->http, &err))
        fail_msg("%s", err.text);
    *state = s;
    return 0;
}

static int served_close(void **state)
{
    struct served *s = *state;
    readers_close(s->f->app.readers);
    http_flush(s->http, 1000);
    http_free(s->http);
    assert_int_equal(access(s->socket, F_OK), -1);
    event_base_free(s->base);
    return fixture_stop(s->f);
}

static int client_open(const struct served *s)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    text_clip(s->socket, to.sun_path, sizeof to.sun_path);
    assert_true(fd >= 0 && connect(fd, (struct sockaddr *)&to, sizeof to) == 0);
    return fd;
}

static void turn(const struct served *s)
{
    event_base_loop(s->base, EVLOOP_NONBLOCK);
    poll(NULL, 0, 1);
}

/* What comes until the other side ends, or until `last` is in it. */
static char *client_read(const struct served *s, int fd, const char *last)
{
    struct text_buffer all = {0};
    int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    text_append(&all, "");
    for (;;) {
        char bytes[4096];
        ssize_t got = recv(fd, bytes, sizeof bytes, MSG_DONTWAIT);
        if (got > 0)
            text_append_bytes(&all, bytes, (size_t)got);
        else if (got == 0 || (errno != EAGAIN && errno != EINTR))
            break;
        else
            turn(s);
        if (last && all.data && strstr(all.data, last))
            break;
        if (clock_monotonic_ms() > until_ms)
            fail_msg("it does not end: %s", all.data);
    }
    return all.data ? text_take(&all) : xstrdup("");
}

/* Sent in pieces of so many bytes (0: at once); it says no more then. */
static char *exchange(const struct served *s, const char *request, size_t piece)
{
    int fd = client_open(s);
    size_t length = strlen(request);
    for (size_t at = 0; at < length;) {
        size_t n = piece && length - at > piece ? piece : length - at;
        ssize_t sent = send(fd, request + at, n, MSG_NOSIGNAL);
        if (sent < 0 && errno != EAGAIN)
            break; /* it was refused by then */
        at += sent > 0 ? (size_t)sent : 0;
        turn(s);
    }
    shutdown(fd, SHUT_WR);
    char *answer = client_read(s, fd, NULL);
    close(fd);
    return answer;
}

/* The date is another each time, and a rule's place each machine's. */
static void add_told(struct text_buffer *out, const char *request, const char *answer)
{
    text_append(out, "---- ");
    for (const char *at = request; *at; at++)
        text_appendf(out, *at == '\r' ? "" : *at == '\n' ? "\n     " : "%c", *at);
    text_append(out, "\n");
    for (const char *at = answer; *at;) {
        size_t line = strcspn(at, "\n");
        bool dated = strncmp(at, "Date: ", 6) == 0;
        for (size_t i = 0; i < line && !dated; i++)
            if (at[i] != '\r')
                text_append_bytes(out, at + i, 1);
        text_append(out, dated ? "Date: …\n" : "\n");
        at += line + (at[line] == '\n');
    }
    text_append(out, "\n");
}

#define HOST "Host: x\r\n"
#define JSON "Content-Type: application/json\r\n"
#define LOG_ONE                                                                                    \
    "{\"id\":\"01990000-0000-7000-8000-000000000001\",\"received_at\":"                            \
    "\"2026-11-24T11:00:00-05:00\",\"channel\":\"phone\",\"symptom\":\"mold\"}"

static const char *const ASKED[] = {
    "GET /v1/cases?state=all HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases?state=all HTTP/1.1\r\n" HOST "Connection: close\r\n\r\n",
    "GET /v1/cases?state=all HTTP/1.0\r\n" HOST "\r\n",
    "GET /v1/cases?state=all HTTP/1.0\r\n" HOST "Connection: keep-alive\r\n\r\n",
    "HEAD /v1/cases HTTP/1.1\r\n" HOST "\r\n",
    "HEAD /v1/cases HTTP/1.1\r\n" HOST "\r\nGET /v1/holds HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/holds HTTP/1.1\r\n" HOST "\r\nGET /v1/call-backs HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases/C99 HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases?limit=x HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases?colour=x HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/nothing HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases/%FF HTTP/1.1\r\n" HOST "\r\n",
    "POST /v1/nothing HTTP/1.1\r\n" HOST "Content-Length: 0\r\n\r\n",
    "DELETE /v1/cases HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/erase HTTP/1.1\r\n" HOST "\r\n",
    "PUT /v1/complaints HTTP/1.1\r\n" HOST "Content-Length: 2\r\n\r\n{}",
    "BREW /v1/cases HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases HTTP/2.0\r\n" HOST "\r\n",
    "GET /v1/cases HTTP/1.1\r\n\r\n",
    "GET /v1/cases HTTP/1.1\r\n" HOST HOST "\r\n",
    "GET /v1/cases\r\n\r\n",
    "GET /v1/cases HTTP/1.1\r\n" HOST "X: y",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Content-Length: 20\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Content-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Content-Length: 99999999999\r\n\r\n",
    "POST /v1/records/lots HTTP/1.1\r\n" HOST "Content-Length: 99999999999\r\n\r\n",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Transfer-Encoding: gzip\r\n\r\n",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Origin: http://x\r\nContent-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON
    "Sec-Fetch-Site: cross-site\r\nContent-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON
    "Sec-Fetch-Site: none\r\nContent-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST "Content-Type: text/plain; charset=x\r\n"
    "Content-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST "Content-Type: Multipart/Form-Data\r\n"
    "Content-Length: 2\r\n\r\n{}",
    "POST /v1/actions HTTP/1.1\r\n" HOST "Content-Type: application/x-www-form-urlencoded\r\n"
    "Content-Length: 2\r\n\r\na=GET /v1/holds HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/cases HTTP/1.1\r\n" HOST "Origin: http://x\r\n\r\n",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Expect: 100-continue\r\nContent-Length: 2\r\n\r\n"
    "{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Expect: lunch\r\nContent-Length: 2\r\n\r\n{}",
    "POST /v1/complaints HTTP/1.1\r\n" HOST JSON "Transfer-Encoding: chunked\r\n\r\n"
    "2\r\n{}\r\n0\r\n\r\nGET /v1/holds HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/export/holds.csv HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/export/holds.csv HTTP/1.0\r\n" HOST "\r\n",
    "HEAD /v1/export/holds.csv HTTP/1.1\r\n" HOST "\r\n",
    "GET /v1/ranks HTTP/1.1\r\n" HOST "Accept: application/x-ndjson\r\n\r\n",
};

static void what_is_asked_is_answered(void **state)
{
    struct served s = *(struct served *)*state;
    struct text_buffer out = {0};
    for (size_t i = 0; i < COUNT_OF(ASKED); i++) {
        char *whole = exchange(&s, ASKED[i], 0), *pieces = exchange(&s, ASKED[i], 7);
        struct text_buffer told = {0};
        add_told(&out, ASKED[i], whole);
        add_told(&told, ASKED[i], pieces);
        if (!strstr(ASKED[i], "Expect: 100") && !strstr(out.data, told.data))
            fail_msg("in pieces:\n%s", told.data);
        text_buffer_free(&told);
        free(whole);
        free(pieces);
    }
    const char *how = getenv("PAGES");
    static const char PATH[] = ODDLOAF_SOURCE_DIR "/tests/serve/told/http.txt";
    if (how && strcmp(how, "write") == 0)
        pages_write(PATH, out.data);
    else
        pages_compare(PATH, out.data);
    text_buffer_free(&out);
    assert_int_equal((int)http_pending(s.http), 0);
}

static void send_all(int fd, const char *text)
{
    assert_int_equal(send(fd, text, strlen(text), MSG_NOSIGNAL), (ssize_t)strlen(text));
}

static void expect(const struct served *s, int fd, const char *last, const char *begin)
{
    char *answer = client_read(s, fd, last);
    if (strncmp(answer, begin, strlen(begin)) != 0 || (last && !strstr(answer, last)))
        fail_msg("%s\nis no %s … %s", answer, begin, last ? last : "end");
    free(answer);
}

/* The body is sent once the head was looked at, and not at all where that is refused. */
static void a_head_is_looked_at_first(void **state)
{
    struct served s = *(struct served *)*state;
    int fd = client_open(&s);
    char head[256];
    snprintf(head, sizeof head,
             "POST /v1/complaints HTTP/1.1\r\n" HOST JSON
             "Expect: 100-continue\r\nContent-Length: %zu\r\n\r\n",
             strlen(LOG_ONE));
    send_all(fd, head);
    expect(&s, fd, "\r\n\r\n", "HTTP/1.1 100 Continue\r\n\r\n");
    send_all(fd, LOG_ONE);
    expect(&s, fd, "\"case\":\"C1\"", "HTTP/1.1 201 Created\r\n");
    send_all(fd, "GET /v1/cases/C1/follow HTTP/1.1\r\n" HOST "\r\n"); /* on the same connection */
    expect(&s, fd, "\"case\":\"C1\"", "HTTP/1.1 200 OK\r\n");
    send_all(fd, "POST /v1/nothing HTTP/1.1\r\n" HOST "Expect: 100-continue\r\nContent-Length: 9"
                 "\r\n\r\n");
    expect(&s, fd, NULL, "HTTP/1.1 404 Not Found\r\n");
    close(fd);
}

/* As many as the settings let in; the next comes in when one has gone, or is idle longest. */
static void a_full_house_has_room_again(void **state)
{
    enum { MOST = 4 };
    struct served s = *(struct served *)*state;
    int fd[MOST + 1];
    for (int i = 0; i < MOST; i++) {
        fd[i] = client_open(&s);
        send_all(fd[i], "GET /v1/holds HTTP/1.1\r\n" HOST "\r\n");
        expect(&s, fd[i], "[]", "HTTP/1.1 200 OK\r\n");
    }
    fd[MOST] = client_open(&s);
    send_all(fd[MOST], "GET /v1/holds HTTP/1.1\r\n" HOST "\r\n");
    expect(&s, fd[MOST], "[]", "HTTP/1.1 200 OK\r\n");
    expect(&s, fd[0], NULL, ""); /* which was idle longest */
    for (int i = 0; i <= MOST; i++)
        close(fd[i]);
}

/* A socket file that nobody listens at is replaced; one that a daemon answers at is not. */
static void a_stale_socket_is_replaced(void **state)
{
    struct served s = *(struct served *)*state;
    struct http *second = NULL;
    struct error err = {0};
    assert_int_equal(http_start(s.base, &s.f->app, s.socket, &second, &err), ERROR_CONFLICT);
    free(exchange(&s, ASKED[0], 0)); /* the first one goes on */
    char stale[128];
    struct sockaddr_un at = {.sun_family = AF_UNIX};
    snprintf(stale, sizeof stale, "%s/stale", s.f->dir);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    text_clip(stale, at.sun_path, sizeof at.sun_path);
    assert_int_equal(bind(fd, (struct sockaddr *)&at, sizeof at), 0);
    close(fd);
    if (http_start(s.base, &s.f->app, stale, &second, &err))
        fail_msg("%s", err.text);
    http_free(second);
    FILE *file = fopen(stale, "w"); /* what is no socket is somebody's file */
    assert_true(file && fclose(file) == 0);
    second = NULL;
    error_clear(&err);
    assert_int_not_equal(http_start(s.base, &s.f->app, stale, &second, &err), 0);
    assert_int_equal(access(stale, F_OK), 0);
}

static void who_stops_takes_no_more(void **state)
{
    struct served s = *(struct served *)*state;
    int fd = client_open(&s), other = client_open(&s);
    send_all(fd, "GET /v1/holds HTTP/1.1\r\n" HOST "\r\n");
    expect(&s, fd, "[]", "HTTP/1.1 200 OK\r\n");
    send_all(other, "GET /v1/holds HTTP/1.1\r\n" HOST "X: ");
    for (int i = 0; i < 5; i++)
        turn(&s);
    http_stop(s.http);
    send_all(fd, "GET /v1/holds HTTP/1.1\r\n" HOST "\r\n");
    char *answer = client_read(&s, fd, NULL);
    assert_non_null(strstr(answer, "503 Service Unavailable"));
    assert_non_null(strstr(answer, "the daemon is stopping; try again in a moment"));
    assert_non_null(strstr(answer, "Connection: close"));
    free(answer);
    send_all(other, "y\r\n\r\n");
    expect(&s, other, NULL, "HTTP/1.1 503 Service Unavailable\r\n");
    close(fd);
    close(other);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_asked_is_answered),   cmocka_unit_test(a_head_is_looked_at_first),
        cmocka_unit_test(a_full_house_has_room_again), cmocka_unit_test(a_stale_socket_is_replaced),
        cmocka_unit_test(who_stops_takes_no_more),
    };
    return cmocka_run_group_tests(tests, served_open, served_close);
}
