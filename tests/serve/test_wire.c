/* Requests as bytes: what is read differently by different programs is refused, and every cut of
 * the bytes is read alike. */
#include "base/text.h"
#include "check.h"
#include "serve/wire.h"
#include <stdlib.h>
#include <string.h>

#define GET "GET /v1/status HTTP/1.1\r\n"
#define POST "POST /v1/complaints HTTP/1.1\r\n"
#define HOST "Host: x\r\n"
#define CHUNKED POST HOST "Transfer-Encoding: chunked\r\n\r\n"

static const struct wire_limits LIMITS = {256, 16};

/* Status of the fault, 200 for a whole request, 0 for one that is not; the body in `body`. */
static int read_request(const char *bytes, size_t length, size_t piece, char body[static 32])
{
    struct wire *wire = wire_new(&LIMITS);
    enum wire_state state = WIRE_MORE;
    size_t at = 0, taken = 0;
    body[0] = '\0';
    while (state != WIRE_FAULT && state != WIRE_WHOLE && (at < length || state == WIRE_HEAD)) {
        size_t n = length - at < piece ? length - at : piece;
        state = wire_feed(wire, bytes + at, n, &taken);
        at += taken;
    }
    int status = state == WIRE_FAULT ? wire_fault(wire).status : state == WIRE_WHOLE ? 200 : 0;
    if (state == WIRE_WHOLE) {
        size_t size;
        char *taken_body = wire_take_body(wire, &size);
        text_clip(taken_body, body, 32);
        free(taken_body);
    }
    wire_free(wire);
    return status;
}

struct row {
    const char *bytes;
    int status;
    const char *body; /* of a whole one; NULL: none */
};

static void expect(const struct row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        size_t length = strlen(rows[i].bytes);
        for (size_t piece = 1; piece <= length; piece++) {
            char body[32];
            int status = read_request(rows[i].bytes, length, piece, body);
            if (status != rows[i].status)
                fail_msg("%d and not %d, %zu bytes a piece: %s", status, rows[i].status, piece,
                         rows[i].bytes);
            assert_string_equal(body, rows[i].body ? rows[i].body : "");
        }
    }
}

static void requests_are_taken(void **state)
{
    static const struct row ROWS[] = {
        {GET HOST "\r\n", 200, NULL},
        {GET "host:x\r\n\r\n", 200, NULL},
        {"HEAD /v1/lots/L1%206318?product=W24+ HTTP/1.1\r\n" HOST "\r\n", 200, NULL},
        {"GET http://X/v1/status HTTP/1.1\r\n" HOST "\r\n", 200, NULL},
        {"GET http://x HTTP/1.1\r\n" HOST "\r\n", 200, NULL},
        {"OPTIONS * HTTP/1.0\r\n" HOST "\r\n", 200, NULL},
        {GET "Host: [2001:db8::7]:8443\r\n\r\n", 200, NULL},
        {POST HOST "Content-Length: 2\r\n\r\n{}", 200, "{}"},
        {POST HOST "Content-Length: 0\r\n\r\n", 200, NULL},
        {POST HOST "Content-Length: 16\r\n\r\n0123456789abcdef", 200, "0123456789abcdef"},
        {POST HOST "Content-Length:\t2 \r\nContent-Encoding: identity\r\n\r\n{}", 200, "{}"},
        {CHUNKED "2\r\n{}\r\n0\r\n\r\n", 200, "{}"},
        {CHUNKED "1;name=value\r\n{\r\n1\r\n}\r\n0\r\nX: y\r\n\r\n", 200, "{}"},
        {CHUNKED "00A\r\n0123456789\r\n0\r\n\r\n", 200, "0123456789"},
        {CHUNKED "0\r\n\r\n", 200, NULL},
        {POST HOST "Content-Length: 5\r\n\r\n{}", 0, NULL},
        {CHUNKED "2\r\n{}\r\n0\r\n", 0, NULL},
    };
    (void)state;
    expect(ROWS, COUNT_OF(ROWS));
}

static void heads_that_could_be_read_twice_are_refused(void **state)
{
    static const struct row ROWS[] = {
        {GET "\r\n", 400, NULL},
        {GET HOST HOST "\r\n", 400, NULL},
        {GET "Host: x y\r\n\r\n", 400, NULL},
        {GET "Host: x/y\r\n\r\n", 400, NULL},
        {GET HOST "X : y\r\n\r\n", 400, NULL},
        {GET HOST ": y\r\n\r\n", 400, NULL},
        {GET HOST "no colon\r\n\r\n", 400, NULL},
        {GET HOST "X: y\r\n z\r\n\r\n", 400, NULL},
        {GET HOST "X: y\nZ: z\r\n\r\n", 400, NULL},
        {GET HOST "X: y\rZ: z\r\n\r\n", 400, NULL},
        {GET HOST "X: y\x01\r\n\r\n", 400, NULL},
        {"GET /v1/status HTTP/1.1\nHost: x\n\n", 400, NULL},
        {"\r\n" GET HOST "\r\n", 400, NULL},
        {"GET  /v1/status HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/status  HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/status\r\n" HOST "\r\n", 400, NULL},
        {"GET v1/status HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/\xc3\xa9 HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/%0 HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/%00 HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/a#b HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1\\a HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET http://y/v1/status HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"G(T /v1/status HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/status HTTP/1.15\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/status HTTP/9.9 HTTP/1.1\r\n" HOST "\r\n", 400, NULL},
        {"GET /v1/status HTTP/2.0\r\n" HOST "\r\n", 505, NULL},
        {"GET /v1/status http/1.1\r\n" HOST "\r\n", 400, NULL},
        {GET HOST "Authorization: Bearer a\r\nAuthorization: Bearer b\r\n\r\n", 400, NULL},
        {GET HOST "Expect: more\r\n\r\n", 417, NULL},
        {POST HOST "Content-Encoding: gzip\r\nContent-Length: 2\r\n\r\n{}", 415, NULL},
    };
    (void)state;
    expect(ROWS, COUNT_OF(ROWS));
}

static void bodies_of_two_lengths_are_refused(void **state)
{
    static const struct row ROWS[] = {
        {POST HOST "Content-Length: 0\r\nContent-Length: 2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: 2\r\nContent-Length: 2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: 2, 2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: +2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: -2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: 0x2\r\n\r\n{}", 400, NULL},
        {POST HOST "Content-Length: \r\n\r\n", 400, NULL},
        {POST HOST "Content-Length: 17\r\n\r\n", 413, NULL},
        {POST HOST "Content-Length: 99999999999999999999999\r\n\r\n", 413, NULL},
        {POST HOST "Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n", 400, NULL},
        {POST HOST "Transfer-Encoding: chunked\r\nTransfer-Encoding: chunked\r\n\r\n", 400, NULL},
        {"POST / HTTP/1.0\r\n" HOST "Transfer-Encoding: chunked\r\n\r\n", 400, NULL},
        {POST HOST "Transfer-Encoding: xchunked\r\n\r\n", 501, NULL},
        {POST HOST "Transfer-Encoding: gzip, chunked\r\n\r\n", 501, NULL},
    };
    (void)state;
    expect(ROWS, COUNT_OF(ROWS));
}

static void malformed_chunks_are_refused(void **state)
{
    static const struct row ROWS[] = {
        {CHUNKED "0x2\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "+2\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "-2\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED " 2\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "2 \r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "2\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "2\r\n{}x\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "1\r\n{}\r\n0\r\n\r\n", 400, NULL},
        {CHUNKED "11\r\n", 413, NULL},
        {CHUNKED "FFFFFFFFFFFFFFFF\r\n", 413, NULL},
        {CHUNKED "00000000000000002\r\n", 400, NULL},
        {CHUNKED "8\r\n01234567\r\n8\r\n01234567\r\n1\r\n", 413, NULL},
    };
    (void)state;
    expect(ROWS, COUNT_OF(ROWS));
}

static void floods_are_cut_off(void **state)
{
    struct text_buffer line = {0}, many = {0}, sizes = {0}, trailer = {0};
    char body[32];
    (void)state;
    text_append(&line, GET HOST "X: ");
    text_append(&many, GET HOST);
    text_append(&sizes, CHUNKED "1;");
    text_append(&trailer, CHUNKED "0\r\n");
    for (int i = 0; i < 300; i++) {
        text_append(&line, "y");
        text_append(&many, "a:\r\n");
        text_append(&sizes, "y");
        text_append(&trailer, "a:\r\n");
    }
    text_append(&sizes, "\r\n");
    assert_int_equal(read_request(line.data, line.length, 64, body), 431);
    assert_int_equal(read_request(many.data, many.length, 64, body), 431);
    assert_int_equal(read_request(sizes.data, sizes.length, 64, body), 400);
    assert_int_equal(read_request(trailer.data, trailer.length, 64, body), 431);
    text_buffer_free(&line);
    text_buffer_free(&many);
    text_buffer_free(&sizes);
    text_buffer_free(&trailer);
}

static void a_nul_ends_nothing(void **state)
{
    static const char BYTES[] = GET HOST "X: a\0b\r\n\r\n";
    char body[32];
    (void)state;
    assert_int_equal(read_request(BYTES, sizeof BYTES - 1, 7, body), 400);
}

/* However small the chunks, what comes with them has an end; and many of them are no long trailer.
 */
static void chunks_are_no_flood(void **state)
{
    static const struct wire_limits LARGE = {256, 4096};
    struct text_buffer small = {0}, long_lines = {0};
    (void)state;
    text_append(&small, CHUNKED);
    text_append(&long_lines, CHUNKED);
    for (int i = 0; i < 800; i++) {
        text_append(&small, "1\r\nx\r\n");
        text_append(&long_lines,
                    "1;yyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyy\r\nx\r\n");
    }
    text_append(&small, "0\r\nA: b\r\n\r\n");
    for (int i = 0; i < 2; i++) {
        const struct text_buffer *bytes = i ? &long_lines : &small;
        struct wire *wire = wire_new(&LARGE);
        size_t head, taken;
        assert_int_equal(wire_feed(wire, bytes->data, bytes->length, &head), WIRE_HEAD);
        assert_int_equal(wire_feed(wire, bytes->data + head, bytes->length - head, &taken),
                         i ? WIRE_FAULT : WIRE_WHOLE);
        assert_int_equal(wire_fault(wire).status, i ? 400 : 0);
        wire_free(wire);
    }
    text_buffer_free(&small);
    text_buffer_free(&long_lines);
}

/* Of a list in several fields all counts. */
static void connection_is_read_whole(void **state)
{
    static const struct {
        const char *bytes;
        bool keeps;
    } rows[] = {{GET HOST "Connection: x\r\nConnection: close\r\n\r\n", false},
                {GET HOST "Connection: x\r\nConnection: keep-alive\r\n\r\n", true}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct wire *wire = wire_new(&LIMITS);
        size_t taken;
        assert_int_equal(wire_feed(wire, rows[i].bytes, strlen(rows[i].bytes), &taken), WIRE_HEAD);
        assert_int_equal(wire_keeps(wire), rows[i].keeps);
        wire_free(wire);
    }
}

/* The bytes behind a request are the next one's. */
static void requests_follow_each_other(void **state)
{
    static const char BYTES[] =
        POST HOST "Content-Length: 2\r\n\r\n{}" GET HOST "Connection: Close, x\r\n\r\n";
    struct wire *wire = wire_new(&LIMITS);
    size_t taken, at = 0, length;
    (void)state;
    assert_int_equal(wire_feed(wire, BYTES, sizeof BYTES - 1, &at), WIRE_HEAD);
    assert_true(wire_has_body(wire) && wire_keeps(wire));
    assert_int_equal(wire_feed(wire, BYTES + at, sizeof BYTES - 1 - at, &taken), WIRE_WHOLE);
    assert_int_equal(taken, 2);
    free(wire_take_body(wire, &length));
    wire_next(wire, &LIMITS);
    at += taken;
    assert_int_equal(wire_feed(wire, BYTES + at, sizeof BYTES - 1 - at, &taken), WIRE_HEAD);
    assert_string_equal(wire_path(wire), "/v1/status");
    assert_false(wire_has_body(wire) || wire_keeps(wire));
    assert_string_equal(wire_header(wire, "connection"), "Close, x");
    assert_int_equal(wire_feed(wire, "", 0, &taken), WIRE_WHOLE);
    wire_free(wire);
}

static void a_body_is_asked_for_once_it_is_awaited(void **state)
{
    static const char BYTES[] = POST HOST "Expect: 100-Continue\r\nContent-Length: 2\r\n\r\n{";
    struct wire *wire = wire_new(&LIMITS);
    size_t at, taken;
    (void)state;
    assert_int_equal(wire_feed(wire, BYTES, sizeof BYTES - 1, &at), WIRE_HEAD);
    assert_true(wire_awaits_continue(wire));
    assert_int_equal(wire_feed(wire, BYTES + at, sizeof BYTES - 1 - at, &taken), WIRE_MORE);
    assert_false(wire_awaits_continue(wire));
    wire_free(wire);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(requests_are_taken),
        cmocka_unit_test(heads_that_could_be_read_twice_are_refused),
        cmocka_unit_test(bodies_of_two_lengths_are_refused),
        cmocka_unit_test(malformed_chunks_are_refused),
        cmocka_unit_test(floods_are_cut_off),
        cmocka_unit_test(chunks_are_no_flood),
        cmocka_unit_test(a_nul_ends_nothing),
        cmocka_unit_test(connection_is_read_whole),
        cmocka_unit_test(requests_follow_each_other),
        cmocka_unit_test(a_body_is_asked_for_once_it_is_awaited),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
