#include "serve/conn.h"
#include "base/text.h"
#include "base/when.h"
#include <event2/buffer.h>
#include <event2/bufferevent_ssl.h>
#include <event2/event.h>
#include <event2/util.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

enum {
    THERE_EVERY_MS = 250,
    ASK_AT = 8 /* looks */,
    LINGER_MS = 2000,
    TAKEN_LEAST = 65536,
    COPIED_MOST = 8192
};

enum phase {
    PHASE_IDLE,
    PHASE_READING,
    PHASE_OWNER,   /* the request is with the owner: an answer, or its next piece, is being made */
    PHASE_WRITING, /* an answer, or a piece of it, waits to be taken */
    PHASE_LINGER   /* all is said; what still comes is dropped */
};

struct conn {
    struct bufferevent *bev;
    struct evbuffer *said;            /* of an answer, before it is sent */
    const struct conn_limits *limits; /* borrowed, as are the events */
    const struct conn_events *events;
    void *arg, *owner, *place;
    uint64_t number;
    uid_t uid; /* of a local client */
    struct wire *wire;
    struct event *deadline;
    enum phase phase;
    bool local;       /* its uid is known */
    bool greeted;     /* a first head has come */
    bool ended;       /* the client sends no more */
    bool unread;      /* what it sends is not read to its end */
    bool close;       /* behind the answer */
    bool pieces;      /* of the answer more is to come */
    bool chunked;     /* and it goes in chunks */
    int looks;        /* whether the client is there, since the request came whole */
    int64_t begun_ms; /* first byte of the request */
    size_t left;      /* of the answer, when last looked at */
};

static void end(struct conn *conn, bool left)
{
    conn->events->gone(conn->arg, conn, left);
    event_free(conn->deadline);
    bufferevent_free(conn->bev);
    evbuffer_free(conn->said);
    wire_free(conn->wire);
    free(conn);
}

static void wait_at_most(struct conn *conn, int64_t ms)
{
    const int64_t least = ms > 0 ? ms : 1;
    const struct timeval tv = {least / 1000, least % 1000 * 1000};
    event_add(conn->deadline, &tv);
}

static void become_idle(struct conn *conn)
{
    bool first = !conn->greeted && conn->limits->first_ms;
    conn->phase = PHASE_IDLE;
    conn->events->idle(conn->arg, conn, true);
    wait_at_most(conn, first ? conn->limits->first_ms : conn->limits->idle_ms);
}

/* ---- reading ---- */

static void begin_request(struct conn *conn)
{
    conn->events->idle(conn->arg, conn, false);
    conn->phase = PHASE_READING;
    conn->begun_ms = clock_monotonic_ms();
    /* the first one has as long as was left of the time for handshake and head */
    if (conn->greeted || !conn->limits->first_ms)
        wait_at_most(conn, conn->limits->request_ms);
}

static void await_owner(struct conn *conn)
{
    conn->phase = PHASE_OWNER;
    wait_at_most(conn, THERE_EVERY_MS);
}

/* What comes before the answer is out waits: conn_on_read(). Of TLS nothing is read, since an end
 * that comes without a farewell is an end of writing, too. */
static void hand_over(struct conn *conn)
{
    conn->looks = 0;
    if (bufferevent_openssl_get_ssl(conn->bev))
        bufferevent_disable(conn->bev, EV_READ);
    await_owner(conn);
}

static const char CONTINUE[] = "HTTP/1.1 100 Continue\r\n\r\n";

static void on_head(struct conn *conn)
{
    conn->greeted = true;
    wait_at_most(conn, conn->limits->request_ms - (clock_monotonic_ms() - conn->begun_ms));
    /* answered now, the body would stay unread */
    conn->unread = wire_has_body(conn->wire);
    conn->events->head(conn->arg, conn);
    if (conn->phase != PHASE_READING)
        return;
    conn->unread = false;
    if (wire_awaits_continue(conn->wire) &&
        evbuffer_get_length(bufferevent_get_input(conn->bev)) == 0)
        bufferevent_write(conn->bev, CONTINUE, sizeof CONTINUE - 1);
}

static void on_fault(struct conn *conn, const struct wire_fault *fault)
{
    hand_over(conn);
    conn->unread = true;
    conn->events->fault(conn->arg, conn, fault);
}

static void pump(struct conn *conn)
{
    struct evbuffer *input = bufferevent_get_input(conn->bev);
    enum wire_state state = WIRE_HEAD; /* of which more may follow without a byte */
    while (conn->phase <= PHASE_READING) {
        size_t taken, length = evbuffer_get_contiguous_space(input);
        if (length == 0 && state != WIRE_HEAD)
            return;
        if (length == 0 && conn->phase == PHASE_IDLE)
            return;
        if (conn->phase == PHASE_IDLE)
            begin_request(conn);
        const char *bytes = length ? (const char *)evbuffer_pullup(input, (ev_ssize_t)length) : "";
        state = wire_feed(conn->wire, bytes, length, &taken);
        evbuffer_drain(input, taken);
        if (state == WIRE_HEAD) {
            on_head(conn);
        } else if (state == WIRE_WHOLE) {
            hand_over(conn);
            conn->events->request(conn->arg, conn);
        } else if (state == WIRE_FAULT) {
            const struct wire_fault fault = wire_fault(conn->wire);
            on_fault(conn, &fault);
        }
    }
}

/* Few clients say anything before they are answered: it is no longer listened for only once one
 * did, since each change of what is waited for is a call of the system. */
static void conn_on_read(struct bufferevent *bev, void *arg)
{
    struct conn *conn = arg;
    struct evbuffer *input = bufferevent_get_input(bev);
    if (conn->phase == PHASE_LINGER)
        evbuffer_drain(input, evbuffer_get_length(input));
    else if (conn->phase > PHASE_READING)
        bufferevent_disable(bev, EV_READ);
    else
        pump(conn);
}

/* ---- writing ---- */

static const char *reason_of(int status)
{
    static const struct {
        int status;
        const char *reason;
    } REASON[] = {{200, "OK"},
                  {201, "Created"},
                  {400, "Bad Request"},
                  {403, "Forbidden"},
                  {404, "Not Found"},
                  {405, "Method Not Allowed"},
                  {408, "Request Timeout"},
                  {409, "Conflict"},
                  {413, "Content Too Large"},
                  {415, "Unsupported Media Type"},
                  {417, "Expectation Failed"},
                  {421, "Misdirected Request"},
                  {429, "Too Many Requests"},
                  {431, "Request Header Fields Too Large"},
                  {500, "Internal Server Error"},
                  {501, "Not Implemented"},
                  {503, "Service Unavailable"},
                  {505, "HTTP Version Not Supported"},
                  {507, "Insufficient Storage"}};
    for (size_t i = 0; i < sizeof REASON / sizeof REASON[0]; i++) {
        if (REASON[i].status == status)
            return REASON[i].reason;
    }
    return "Answer";
}

static void write_head(struct conn *conn, const struct conn_head *head, const char *framing)
{
    char date[64];
    evutil_date_rfc1123(date, sizeof date, NULL);
    bool keeps = wire_keeps(conn->wire) && !conn->unread && !conn->ended;
    conn->close = head->close || !keeps || (conn->pieces && !conn->chunked);
    evbuffer_add_printf(conn->said, "HTTP/1.1 %d %s\r\nDate: %s\r\nContent-Type: %s\r\n%s%s%s\r\n",
                        head->status, reason_of(head->status), date, head->type, head->lines,
                        framing,
                        conn->close               ? "Connection: close\r\n"
                        : wire_is_old(conn->wire) ? "Connection: keep-alive\r\n"
                                                  : "");
}

static void conn_free_body(const void *data, size_t length, void *body)
{
    (void)data;
    (void)length;
    free(body);
}

static void write_body(struct conn *conn, char *body, size_t length)
{
    if (length > COPIED_MOST &&
        evbuffer_add_reference(conn->said, body, length, conn_free_body, body) == 0)
        return;
    evbuffer_add(conn->said, body, length); /* a small one leaves with its head in one packet */
    free(body);
}

static bool is_head_only(const struct conn *conn)
{
    const char *method = wire_method(conn->wire);
    return method && strcmp(method, "HEAD") == 0;
}

/* Most answers are taken as they come; what is left of one waits until it may go on. What fails
 * here fails there again, and is told as an event. */
static void send_said(struct conn *conn)
{
    struct evbuffer *out = bufferevent_get_output(conn->bev);
    bool first = evbuffer_get_length(out) == 0 && !bufferevent_openssl_get_ssl(conn->bev);
    if (first && evbuffer_get_length(conn->said))
        evbuffer_write(conn->said, bufferevent_getfd(conn->bev));
    evbuffer_add_buffer(out, conn->said);
}

static void await_taking(struct conn *conn)
{
    send_said(conn);
    conn->phase = PHASE_WRITING;
    conn->left = evbuffer_get_length(bufferevent_get_output(conn->bev));
    wait_at_most(conn, conn->limits->idle_ms);
    if (conn->left == 0)
        bufferevent_trigger(conn->bev, EV_WRITE,
                            BEV_TRIG_IGNORE_WATERMARKS | BEV_TRIG_DEFER_CALLBACKS);
}

void conn_answer(struct conn *conn, const struct conn_head *head, char *body, size_t length)
{
    char framing[48];
    if (conn->phase <= PHASE_READING)
        hand_over(conn);
    snprintf(framing, sizeof framing, "Content-Length: %zu\r\n", length);
    conn->pieces = false;
    write_head(conn, head, framing);
    if (is_head_only(conn))
        free(body);
    else
        write_body(conn, body, length);
    await_taking(conn);
}

bool conn_piece(struct conn *conn, const struct conn_head *head, char *body, size_t length,
                bool last)
{
    struct evbuffer *out = conn->said;
    conn->pieces = !last;
    if (head) {
        conn->chunked = !wire_is_old(conn->wire);
        conn->pieces = true; /* for the head: it is an answer in pieces */
        write_head(conn, head, conn->chunked ? "Transfer-Encoding: chunked\r\n" : "");
        conn->pieces = !last;
    }
    if (is_head_only(conn)) {
        conn->pieces = false;
        free(body);
    } else {
        if (conn->chunked && length)
            evbuffer_add_printf(out, "%zx\r\n", length);
        write_body(conn, body, length);
        if (conn->chunked && length)
            evbuffer_add_printf(out, "\r\n");
        if (conn->chunked && last)
            evbuffer_add_printf(out, "0\r\n\r\n");
    }
    await_taking(conn);
    return conn->pieces;
}

/* That no more is said. */
static void say_end(struct conn *conn)
{
    SSL *ssl = bufferevent_openssl_get_ssl(conn->bev);
    if (ssl) {
        SSL_shutdown(ssl);
        ERR_clear_error(); /* of this connection: the next one's would be taken for it */
    }
    shutdown(bufferevent_getfd(conn->bev), SHUT_WR);
}

/* Waits a little for the client to have read what was said. */
static void linger(struct conn *conn)
{
    struct evbuffer *input = bufferevent_get_input(conn->bev);
    conn->phase = PHASE_LINGER;
    evbuffer_drain(input, evbuffer_get_length(input));
    wait_at_most(conn, LINGER_MS);
    bufferevent_enable(conn->bev, EV_READ);
}

static void conn_on_written(struct bufferevent *bev, void *arg)
{
    struct conn *conn = arg;
    if (conn->phase != PHASE_WRITING || evbuffer_get_length(bufferevent_get_output(bev)) > 0)
        return; /* "100 Continue" has left, say */
    if (conn->pieces) {
        await_owner(conn);
        conn->events->taken(conn->arg, conn);
    } else if (!conn->close) {
        wire_next(conn->wire, &conn->limits->wire);
        become_idle(conn);
        bufferevent_enable(conn->bev, EV_READ);
        pump(conn); /* what came behind the request */
    } else {
        event_del(conn->deadline);
        say_end(conn);
        if (conn->unread && !conn->ended)
            linger(conn);
        else
            end(conn, false);
    }
}

/* ---- ends ---- */

static void conn_on_event(struct bufferevent *bev, short what, void *arg)
{
    struct conn *conn = arg;
    (void)bev;
    bool answered = conn->phase == PHASE_OWNER || conn->phase == PHASE_WRITING;
    if (what & BEV_EVENT_CONNECTED)
        return; /* the handshake is done */
    if (what & BEV_EVENT_EOF && what & BEV_EVENT_READING && answered)
        return; /* it is told again behind the answer, and behind what came before it */
    conn->ended = true;
    if (!(what & BEV_EVENT_EOF) || conn->phase == PHASE_IDLE || conn->phase == PHASE_LINGER) {
        end(conn, true);
    } else if (conn->phase == PHASE_READING) {
        static const struct wire_fault CUT = {400, "the request ends in the middle"};
        on_fault(conn, &CUT);
    }
}

static bool is_tcp(int fd)
{
    int domain = AF_UNIX;
    socklen_t size = sizeof domain;
    getsockopt(fd, SOL_SOCKET, SO_DOMAIN, &domain, &size);
    return domain != AF_UNIX;
}

/* The client of a request under way: is it there? Over TCP one that has gone looks like one that
 * has only stopped sending until it is told something; any client must take a "100" (RFC 9110,
 * 15.2), and the machine of one that has gone refuses it. Nobody is asked within two seconds. */
static void look_for_client(struct conn *conn)
{
    struct pollfd there = {bufferevent_getfd(conn->bev), POLLRDHUP, 0};
    poll(&there, 1, 0);
    if (there.revents & (POLLHUP | POLLERR)) {
        end(conn, true);
        return;
    }
    bool ask = ++conn->looks == ASK_AT && !conn->pieces && !wire_is_old(conn->wire);
    if (ask && there.revents & POLLRDHUP && is_tcp(there.fd))
        bufferevent_write(conn->bev, CONTINUE, sizeof CONTINUE - 1);
    wait_at_most(conn, THERE_EVERY_MS);
}

static void conn_on_deadline(evutil_socket_t fd, short what, void *arg)
{
    static const struct wire_fault SLOW = {
        408, "the request did not come whole within limits/request_s"};
    struct conn *conn = arg;
    (void)fd;
    (void)what;
    size_t left = evbuffer_get_length(bufferevent_get_output(conn->bev));
    if (conn->phase == PHASE_OWNER) {
        look_for_client(conn);
    } else if (conn->phase == PHASE_READING && (conn->greeted || !conn->limits->first_ms)) {
        on_fault(conn, &SLOW);
    } else if (conn->phase == PHASE_WRITING && left + TAKEN_LEAST <= conn->left) {
        conn->left = left; /* it reads, if slowly */
        wait_at_most(conn, conn->limits->idle_ms);
    } else {
        end(conn, false);
    }
}

struct conn *conn_new(struct bufferevent *bev, const struct conn_limits *limits,
                      const struct conn_events *events, void *arg)
{
    struct conn *conn = xcalloc(1, sizeof *conn);
    conn->bev = bev;
    conn->said = evbuffer_new();
    conn->limits = limits;
    conn->events = events;
    conn->arg = arg;
    conn->wire = wire_new(&limits->wire);
    conn->deadline = event_new(bufferevent_get_base(bev), -1, 0, conn_on_deadline, conn);
    if (bufferevent_openssl_get_ssl(bev)) /* a client that goes without a farewell has still gone */
        bufferevent_openssl_set_allow_dirty_shutdown(bev, 1);
    bufferevent_setcb(bev, conn_on_read, conn_on_written, conn_on_event, conn);
    return conn;
}

void conn_start(struct conn *conn)
{
    become_idle(conn);
    bufferevent_enable(conn->bev, EV_READ | EV_WRITE);
}

void conn_close(struct conn *conn)
{
    end(conn, false);
}

struct wire *conn_wire(const struct conn *conn)
{
    return conn->wire;
}

struct bufferevent *conn_bufferevent(const struct conn *conn)
{
    return conn->bev;
}

void conn_set_owner(struct conn *conn, void *owner)
{
    conn->owner = owner;
}

void *conn_owner(const struct conn *conn)
{
    return conn->owner;
}

void conn_set_place(struct conn *conn, void *place)
{
    conn->place = place;
}

void *conn_place(const struct conn *conn)
{
    return conn->place;
}

void conn_set_number(struct conn *conn, uint64_t number)
{
    conn->number = number;
}

uint64_t conn_number(const struct conn *conn)
{
    return conn->number;
}

void conn_set_uid(struct conn *conn, uid_t uid)
{
    conn->local = true;
    conn->uid = uid;
}

bool conn_uid(const struct conn *conn, uid_t *ret)
{
    *ret = conn->uid;
    return conn->local;
}

bool conn_has_bytes(const struct conn *conn)
{
    char byte;
    return evbuffer_get_length(bufferevent_get_input(conn->bev)) > 0 ||
           recv(bufferevent_getfd(conn->bev), &byte, 1, MSG_PEEK | MSG_DONTWAIT) > 0;
}

bool conn_is_writing(const struct conn *conn)
{
    return evbuffer_get_length(bufferevent_get_output(conn->bev)) > 0;
}
