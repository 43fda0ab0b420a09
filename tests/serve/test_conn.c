/* One connection over a pair of sockets, with an owner of the test's own: what is heard, what is
 * waited for and for how long, how answers in pieces leave, and how it ends. */
#include "base/text.h"
#include "base/when.h"
#include "check.h"
#include "serve/conn.h"
#include <errno.h>
#include <event2/event.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum { PATIENCE_MS = 60000, LONG_MS = 600000, SHORT_MS = 40 };

struct owner {
    struct event_base *base;
    struct conn *conn; /* NULL: it has gone */
    struct conn_limits limits;
    int client;
    struct text_buffer heard; /* what the events told */
    enum { ANSWER, AT_HEAD, PIECES, KEEP } does;
    int pieces;
    size_t bytes; /* of an answer; 0: "ok" */
};

static struct conn_head head_of(int status)
{
    return (struct conn_head){status, "text/plain", "X: y\r\n", false};
}

static void answer(struct owner *o, struct conn *conn, int status)
{
    const struct conn_head head = head_of(status);
    size_t length = o->bytes ? o->bytes : 2;
    char *body = xmalloc(length + 1);
    memset(body, 'b', length);
    if (!o->bytes)
        memcpy(body, "ok", 2);
    conn_answer(conn, &head, body, length);
}

static void on_head(void *arg, struct conn *conn)
{
    struct owner *o = arg;
    text_appendf(&o->heard, "head %s%s;", wire_method(conn_wire(conn)), wire_path(conn_wire(conn)));
    if (o->does == AT_HEAD)
        answer(o, conn, 403);
}

static void next_piece(struct owner *o, struct conn *conn, bool first)
{
    const struct conn_head head = head_of(200);
    bool last = --o->pieces == 0;
    bool more = conn_piece(conn, first ? &head : NULL, xstrdup("piece"), 5, last);
    text_appendf(&o->heard, "%s;", more ? "more" : "last");
}

static void on_request(void *arg, struct conn *conn)
{
    struct owner *o = arg;
    size_t length;
    char *body = wire_take_body(conn_wire(conn), &length);
    text_appendf(&o->heard, "whole %zu;", length);
    free(body);
    if (o->does == PIECES)
        next_piece(o, conn, true);
    else if (o->does != KEEP)
        answer(o, conn, 200);
}

static void on_fault(void *arg, struct conn *conn, const struct wire_fault *fault)
{
    struct owner *o = arg;
    text_appendf(&o->heard, "fault %d;", fault->status);
    answer(o, conn, fault->status);
}

static void on_taken(void *arg, struct conn *conn)
{
    struct owner *o = arg;
    text_append(&o->heard, "taken;");
    next_piece(o, conn, false);
}

static void on_idle(void *arg, struct conn *conn, bool is_idle)
{
    struct owner *o = arg;
    (void)conn;
    text_append(&o->heard, is_idle ? "idle;" : "busy;");
}

static void on_gone(void *arg, struct conn *conn, bool left)
{
    struct owner *o = arg;
    (void)conn;
    text_append(&o->heard, left ? "left;" : "ended;");
    o->conn = NULL;
}

static const struct conn_events EVENTS = {on_head,  on_request, on_fault,
                                          on_taken, on_idle,    on_gone};

static void owner_open(struct owner *o, struct conn_limits limits)
{
    int pair[2];
    *o = (struct owner){.limits = limits};
    o->limits.wire = (struct wire_limits){1024, 100000};
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0, pair), 0);
    o->client = pair[1];
    o->base = event_base_new();
    o->conn = conn_new(bufferevent_socket_new(o->base, pair[0], BEV_OPT_CLOSE_ON_FREE), &o->limits,
                       &EVENTS, o);
    conn_start(o->conn);
}

static void owner_close(struct owner *o)
{
    if (o->conn)
        conn_close(o->conn);
    if (o->client >= 0)
        close(o->client);
    event_base_free(o->base);
    text_buffer_free(&o->heard);
}

static void turn(const struct owner *o)
{
    event_base_loop(o->base, EVLOOP_NONBLOCK);
    poll(NULL, 0, 1);
}

static void say(struct owner *o, const char *text)
{
    assert_int_equal(send(o->client, text, strlen(text), MSG_NOSIGNAL), (ssize_t)strlen(text));
}

/* Turns until all this was heard, in this order and nothing else. */
static void until(struct owner *o, const char *heard)
{
    int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    while (strcmp(o->heard.data ? o->heard.data : "", heard) != 0) {
        if (clock_monotonic_ms() > until_ms)
            fail_msg("\"%s\" and not \"%s\"", o->heard.data, heard);
        turn(o);
    }
}

/* What has come, until it ends with `last` or (NULL) the other side ended. */
static char *hear(struct owner *o, const char *last)
{
    struct text_buffer all = {0};
    int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    for (;;) {
        char bytes[8192];
        ssize_t got = recv(o->client, bytes, sizeof bytes, MSG_DONTWAIT);
        size_t n = last ? strlen(last) : 0;
        if (got > 0)
            text_append_bytes(&all, bytes, (size_t)got);
        else if (got == 0 || (errno != EAGAIN && errno != EINTR))
            break;
        if (n && all.length >= n && strcmp(all.data + all.length - n, last) == 0)
            break;
        if (clock_monotonic_ms() > until_ms)
            fail_msg("it does not end: %s", all.data);
        turn(o);
    }
    return all.data ? text_take(&all) : xstrdup("");
}

static void hears(struct owner *o, const char *last, const char *const *parts)
{
    char *all = hear(o, last);
    for (; *parts; parts++) {
        bool absent = **parts == '!';
        if ((strstr(all, *parts + absent) == NULL) != absent)
            fail_msg("\"%s\": %s", *parts, all);
    }
    free(all);
}
#define HEARS(o, last, ...) hears(o, last, (const char *const[]){__VA_ARGS__, NULL})

static const struct conn_limits PATIENT = {
    .first_ms = LONG_MS, .request_ms = LONG_MS, .idle_ms = LONG_MS};

#define GET "GET /a HTTP/1.1\r\nHost: x\r\n\r\n"
#define POST "POST /b HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\n\r\n"

static void requests_take_turns(void **state)
{
    struct owner o;
    (void)state;
    owner_open(&o, PATIENT);
    until(&o, "idle;");
    say(&o, GET);
    HEARS(&o, "ok", "HTTP/1.1 200 OK\r\n", "Content-Length: 2\r\n", "X: y\r\n",
          "Content-Type: text/plain\r\n", "!Connection:");
    until(&o, "idle;busy;head GET/a;whole 0;idle;");
    say(&o, POST "bo");
    until(&o, "idle;busy;head GET/a;whole 0;idle;busy;head POST/b;");
    say(&o, "dy" GET); /* the next one behind it */
    until(&o, "idle;busy;head GET/a;whole 0;idle;busy;head POST/b;whole 4;idle;busy;head GET/a;"
              "whole 0;idle;");
    assert_false(conn_is_writing(o.conn) || conn_has_bytes(o.conn));
    close(o.client);
    o.client = -1;
    until(&o, "idle;busy;head GET/a;whole 0;idle;busy;head POST/b;whole 4;idle;busy;head GET/a;"
              "whole 0;idle;left;");
    owner_close(&o);
}

/* What is refused by its head is not read: it is closed behind the answer, and what comes is
 * dropped. */
static void what_is_answered_at_its_head_is_closed(void **state)
{
    struct owner o;
    (void)state;
    owner_open(&o, PATIENT);
    o.does = AT_HEAD;
    say(&o, GET); /* has no body: the connection stays */
    HEARS(&o, "ok", "403 Forbidden", "!Connection: close");
    until(&o, "idle;busy;head GET/a;idle;");
    say(&o, POST);
    HEARS(&o, NULL, "403 Forbidden", "Connection: close");
    assert_non_null(o.conn); /* it lingers */
    say(&o, "body" GET);
    close(o.client);
    o.client = -1;
    until(&o, "idle;busy;head GET/a;idle;busy;head POST/b;left;");
    owner_close(&o);
}

static void who_waits_is_told_to_go_on(void **state)
{
    struct owner o;
    static const char HEAD[] = "POST /b HTTP/1.1\r\nHost: x\r\nExpect: 100-continue\r\n"
                               "Content-Length: 4\r\n\r\n";
    (void)state;
    owner_open(&o, PATIENT);
    say(&o, HEAD);
    HEARS(&o, "\r\n\r\n", "HTTP/1.1 100 Continue\r\n\r\n");
    say(&o, "body");
    HEARS(&o, "ok", "HTTP/1.1 200 OK\r\n", "!100 Continue");
    char whole[256];
    snprintf(whole, sizeof whole, "%sbody", HEAD);
    say(&o, whole); /* it did not wait */
    HEARS(&o, "ok", "HTTP/1.1 200 OK\r\n", "!100 Continue");
    owner_close(&o);
}

static void an_answer_in_pieces(void **state)
{
    static const struct {
        const char *request, *last;
        const char *parts[6];
        const char *heard;
    } ROWS[] = {
        {GET,
         "0\r\n\r\n",
         {"Transfer-Encoding: chunked\r\n", "!Connection:",
          "\r\n\r\n5\r\npiece\r\n5\r\npiece\r\n5\r\npiece\r\n0\r\n\r\n", "!Content-Length"},
         "idle;busy;head GET/a;whole 0;more;taken;more;taken;last;idle;"},
        {"GET /a HTTP/1.0\r\nHost: x\r\nConnection: keep-alive\r\n\r\n",
         NULL,
         {"Connection: close\r\n", "\r\n\r\npiecepiecepiece", "!chunked", "!Content-Length"},
         "idle;busy;head GET/a;whole 0;more;taken;more;taken;last;ended;"},
        {"HEAD /a HTTP/1.1\r\nHost: x\r\n\r\n",
         "\r\n\r\n",
         {"Transfer-Encoding: chunked\r\n", "!piece"},
         "idle;busy;head HEAD/a;whole 0;last;idle;"},
        {"GET /a HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",
         NULL,
         {"Connection: close\r\n", "0\r\n\r\n"},
         "idle;busy;head GET/a;whole 0;more;taken;more;taken;last;ended;"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct owner o;
        owner_open(&o, PATIENT);
        o.does = PIECES;
        o.pieces = 3;
        say(&o, ROWS[i].request);
        hears(&o, ROWS[i].last, ROWS[i].parts);
        until(&o, ROWS[i].heard);
        owner_close(&o);
    }
}

/* It is closed behind the answer, or not. */
static void ends_behind_the_answer(void **state)
{
    static const struct {
        const char *request;
        const char *parts[4];
        const char *heard;
        bool stays;
    } ROWS[] = {
        {"GET /a HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",
         {"Connection: close\r\n"},
         "idle;busy;head GET/a;whole 0;ended;",
         false},
        {"GET /a HTTP/1.0\r\nHost: x\r\n\r\n",
         {"Connection: close\r\n"},
         "idle;busy;head GET/a;whole 0;ended;",
         false},
        {"GET /a HTTP/1.0\r\nHost: x\r\nConnection: keep-alive\r\n\r\n",
         {"Connection: keep-alive\r\n"},
         "idle;busy;head GET/a;whole 0;idle;",
         true},
        {"HEAD /a HTTP/1.1\r\nHost: x\r\n\r\n",
         {"Content-Length: 2\r\n", "!ok"},
         "idle;busy;head HEAD/a;whole 0;idle;",
         true},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct owner o;
        owner_open(&o, PATIENT);
        say(&o, ROWS[i].request);
        until(&o, ROWS[i].heard);
        assert_int_equal(o.conn != NULL, ROWS[i].stays);
        if (o.conn)
            conn_close(o.conn);
        hears(&o, NULL, ROWS[i].parts);
        owner_close(&o);
    }
}

/* Who sends no more and still reads gets the whole answer; then it ends, since nothing can follow.
 */
static void who_stops_sending_is_answered(void **state)
{
    struct owner o;
    (void)state;
    owner_open(&o, PATIENT);
    o.does = KEEP;
    say(&o, GET);
    until(&o, "idle;busy;head GET/a;whole 0;");
    shutdown(o.client, SHUT_WR);
    for (int i = 0; i < 5; i++)
        turn(&o);
    assert_non_null(o.conn);
    answer(&o, o.conn, 200);
    HEARS(&o, NULL, "200 OK");
    until(&o, "idle;busy;head GET/a;whole 0;idle;left;");
    owner_close(&o);
    owner_open(&o, PATIENT);
    say(&o, POST "b");
    shutdown(o.client, SHUT_WR);
    HEARS(&o, NULL, "400 Bad Request", "Connection: close");
    until(&o, "idle;busy;head POST/b;fault 400;ended;");
    owner_close(&o);
}

/* Looked for four times a second while its request is with the owner. */
static void who_goes_while_it_waits_is_missed(void **state)
{
    struct owner o;
    (void)state;
    owner_open(&o, PATIENT);
    o.does = KEEP;
    say(&o, GET);
    until(&o, "idle;busy;head GET/a;whole 0;");
    close(o.client);
    o.client = -1;
    until(&o, "idle;busy;head GET/a;whole 0;left;");
    owner_close(&o);
}

static void what_is_no_request_is_a_fault(void **state)
{
    struct owner o;
    (void)state;
    owner_open(&o, PATIENT);
    say(&o, "NONSENSE\r\n\r\nGET");
    HEARS(&o, NULL, "400 Bad Request", "Connection: close");
    assert_non_null(o.conn);
    assert_string_equal(o.heard.data, "idle;busy;fault 400;");
    say(&o, GET); /* is dropped */
    close(o.client);
    o.client = -1;
    until(&o, "idle;busy;fault 400;left;");
    owner_close(&o);
}

/* ---- what is waited for ---- */

static void every_wait_ends(void **state)
{
    static const struct {
        int64_t first_ms, request_ms, idle_ms;
        const char *said, *heard;
    } ROWS[] = {
        {SHORT_MS, LONG_MS, LONG_MS, NULL, "idle;ended;"},
        {0, LONG_MS, SHORT_MS, NULL, "idle;ended;"},
        {SHORT_MS, LONG_MS, LONG_MS, "GET /a", "idle;busy;ended;"}, /* the first head */
        {0, SHORT_MS, LONG_MS, "GET /a", "idle;busy;fault 408;ended;"},
        {LONG_MS, SHORT_MS, LONG_MS, POST "bo", "idle;busy;head POST/b;fault 408;ended;"},
        {LONG_MS, LONG_MS, SHORT_MS, GET, "idle;busy;head GET/a;whole 0;idle;ended;"},
        {SHORT_MS, LONG_MS, 8 * SHORT_MS, GET, "idle;busy;head GET/a;whole 0;idle;ended;"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct owner o;
        owner_open(&o, (struct conn_limits){.first_ms = ROWS[i].first_ms,
                                            .request_ms = ROWS[i].request_ms,
                                            .idle_ms = ROWS[i].idle_ms});
        int64_t begun_ms = clock_monotonic_ms();
        if (ROWS[i].said)
            say(&o, ROWS[i].said);
        if (strstr(ROWS[i].heard, "fault")) {
            HEARS(&o, NULL, "HTTP/1.1 408 Request Timeout\r\n", "Connection: close\r\n");
            close(o.client); /* it would linger for two seconds */
            o.client = -1;
            assert_true(clock_monotonic_ms() - begun_ms >= SHORT_MS / 2);
            assert_non_null(strstr(o.heard.data, "fault 408;"));
        } else {
            until(&o, ROWS[i].heard);
            assert_true(clock_monotonic_ms() - begun_ms >= SHORT_MS / 2);
        }
        owner_close(&o);
    }
}

/* How long a request lasts whose head is late and whose body never ends. */
static int64_t given_up_after_ms(int64_t request_ms)
{
    struct owner o;
    owner_open(&o, (struct conn_limits){{0, 0}, 0, request_ms, LONG_MS});
    int64_t begun_ms = clock_monotonic_ms();
    say(&o, "POST /b HTTP/1.1\r\n");
    while (o.conn && clock_monotonic_ms() < begun_ms + request_ms * 3 / 4)
        turn(&o);
    if (o.conn)
        say(&o, "Host: x\r\nContent-Length: 4\r\n\r\nbo");
    while (o.conn && !(o.heard.data && strstr(o.heard.data, "fault 408;")))
        turn(&o);
    int64_t after_ms = clock_monotonic_ms() - begun_ms;
    owner_close(&o);
    return after_ms;
}

/* Its head takes of the time that its body has. */
static void a_late_head_gives_no_more_time(void **state)
{
    int64_t request_ms = 2 * SHORT_MS; /* a busy machine may stand still for so long */
    (void)state;
    while (given_up_after_ms(request_ms) > request_ms * 3 / 2 && request_ms < 50 * SHORT_MS)
        request_ms *= 2;
    assert_true(request_ms < 50 * SHORT_MS);
}

enum { LARGE = 4000000, PART = 300000 };

/* Takes some of a large answer, for longer than is waited for none of it. True if all of it came.
 */
static bool takes_slowly(int64_t idle_ms)
{
    struct owner o;
    size_t all = 0;
    char *bytes = xmalloc(PART);
    owner_open(&o, (struct conn_limits){{0, 0}, LONG_MS, LONG_MS, idle_ms});
    o.bytes = LARGE;
    say(&o, GET);
    while (o.conn && !(o.heard.data && strstr(o.heard.data, "whole")))
        turn(&o);
    for (int64_t slow_ms = clock_monotonic_ms() + 2 * idle_ms; o.conn && all < LARGE;) {
        bool slow = clock_monotonic_ms() < slow_ms;
        ssize_t got = recv(o.client, bytes, PART, MSG_DONTWAIT);
        all += got > 0 ? (size_t)got : 0;
        for (int64_t next_ms = clock_monotonic_ms() + (slow ? idle_ms / 4 : 0);
             clock_monotonic_ms() <= next_ms;)
            turn(&o);
    }
    free(bytes);
    owner_close(&o);
    return all >= LARGE;
}

/* An answer that nobody takes ends, too; one that is taken slowly does not. */
static void who_reads_slowly_is_waited_for(void **state)
{
    struct owner o;
    int64_t idle_ms = 2 * SHORT_MS; /* a busy machine may stand still for so long */
    (void)state;
    while (!takes_slowly(idle_ms) && idle_ms < 100 * SHORT_MS)
        idle_ms *= 2;
    assert_true(idle_ms < 100 * SHORT_MS);
    owner_open(&o, (struct conn_limits){{0, 0}, LONG_MS, LONG_MS, 2 * SHORT_MS});
    o.bytes = LARGE;
    say(&o, GET);
    until(&o, "idle;busy;head GET/a;whole 0;ended;");
    owner_close(&o);
}

static void what_is_kept_with_it(void **state)
{
    struct owner o;
    uid_t uid = 7;
    (void)state;
    owner_open(&o, PATIENT);
    assert_null(conn_owner(o.conn));
    assert_null(conn_place(o.conn));
    assert_false(conn_uid(o.conn, &uid));
    conn_set_owner(o.conn, &o);
    conn_set_place(o.conn, &uid);
    conn_set_number(o.conn, 99);
    conn_set_uid(o.conn, 1234);
    assert_ptr_equal(conn_owner(o.conn), &o);
    assert_ptr_equal(conn_place(o.conn), &uid);
    assert_int_equal(conn_number(o.conn), 99);
    assert_true(conn_uid(o.conn, &uid));
    assert_int_equal(uid, 1234);
    assert_false(conn_has_bytes(o.conn));
    say(&o, "G");
    assert_true(conn_has_bytes(o.conn)); /* nobody has looked yet */
    owner_close(&o);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(requests_take_turns),
        cmocka_unit_test(what_is_answered_at_its_head_is_closed),
        cmocka_unit_test(who_waits_is_told_to_go_on),
        cmocka_unit_test(an_answer_in_pieces),
        cmocka_unit_test(ends_behind_the_answer),
        cmocka_unit_test(who_stops_sending_is_answered),
        cmocka_unit_test(who_goes_while_it_waits_is_missed),
        cmocka_unit_test(what_is_no_request_is_a_fault),
        cmocka_unit_test(every_wait_ends),
        cmocka_unit_test(a_late_head_gives_no_more_time),
        cmocka_unit_test(who_reads_slowly_is_waited_for),
        cmocka_unit_test(what_is_kept_with_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
