/* Requests of HTTP/1.1 as bytes on a wire (RFC 9112), read strictly: what two programs could read
 * differently is refused, so that no proxy in front takes for one request what we take for two.
 * One parser takes the requests of one connection, one after another. No socket, no thread. */
#ifndef ODDLOAF_SERVE_WIRE_H
#define ODDLOAF_SERVE_WIRE_H

#include <stdbool.h>
#include <stddef.h>

struct wire;

struct wire_limits {
    size_t head_bytes; /* request line and headers; trailers may have as many again */
    size_t body_bytes;
};

enum wire_state {
    WIRE_MORE, /* all was taken, and it is not whole yet */
    WIRE_HEAD, /* the head is whole; said once. What follows is taken by the next call */
    WIRE_WHOLE,
    WIRE_FAULT /* for good: where the next request begins cannot be known */
};

struct wire_fault {
    int status; /* of the answer */
    const char *detail;
};

struct wire *wire_new(const struct wire_limits *limits);
void wire_free(struct wire *wire); /* NULL is fine */

/* Takes *ret_taken of the bytes. */
enum wire_state wire_feed(struct wire *wire, const char *bytes, size_t length, size_t *ret_taken);
/* Why it was a fault. */
struct wire_fault wire_fault(const struct wire *wire);
/* Forgets the request that was whole and awaits the next one, under other limits perhaps. */
void wire_next(struct wire *wire, const struct wire_limits *limits);

/* ---- of a request whose head is whole; strings live until wire_next() ---- */

const char *wire_method(const struct wire *wire);
const char *wire_path(const struct wire *wire);  /* as sent: escapes are sound, and not undone */
const char *wire_query(const struct wire *wire); /* what follows the question mark; "" none */
const char *wire_host(const struct wire *wire);
/* Any case of `name`; NULL if there is none. Of a field sent several times the first: those that we
 * go by are refused then, but for Connection, a list of which wire_keeps() reads all. */
const char *wire_header(const struct wire *wire, const char *name);
bool wire_has_body(const struct wire *wire);
/* The client waits for "100 Continue" before it sends the body. */
bool wire_awaits_continue(const struct wire *wire);
/* It takes another request on this connection, and understands answers in chunks. */
bool wire_keeps(const struct wire *wire);
bool wire_is_old(const struct wire *wire); /* HTTP/1.0 */

/* The whole body, the caller's from here on; NUL-terminated. */
char *wire_take_body(struct wire *wire, size_t *ret_length);

/* Undoes percent escapes in place, and with `plus` a plus for a blank. What is no escape stays.
 * Returns the length: more than strlen() if a NUL was escaped. */
size_t wire_unescape(char *text, bool plus);

#endif
