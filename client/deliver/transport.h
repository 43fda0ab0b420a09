/* HTTP to the daemon: over its Unix socket, or over TLS to an https:// address with the token
 * from ODDLOAF_TOKEN. A busy daemon (503) is asked again a few times, as it says but
 * within seconds. */
#ifndef ODDLOAF_CLIENT_DELIVER_TRANSPORT_H
#define ODDLOAF_CLIENT_DELIVER_TRANSPORT_H

#include "base/error.h"
#include "base/text.h"
#include <stdbool.h>

#define TRANSPORT_SOCKET "/run/oddloaf/oddloafd.sock"
#define TRANSPORT_REPLY_BYTES (64u << 20)

struct transport;

struct endpoint {
    const char *socket; /* used unless `server` is set */
    const char *server; /* "https://host[:port]" or NULL */
    const char *token;  /* bearer token or NULL */
    const char *ca;     /* file of trusted certificates, or NULL for the system's */
    const char *cert;   /* client certificate and key, or NULL */
    const char *key;
};

struct request {
    const char *method; /* "GET" or "POST" */
    const char *path;   /* "/v1/…", already encoded */
    const char *type;   /* content type of the body, or NULL */
    const void *body;
    size_t length;
    long timeout_s; /* 0: the usual minute */
    bool once;      /* do not wait for a busy daemon */
};

struct reply {
    long status;
    bool json; /* application/json or application/problem+json */
    struct text_buffer body;
};

/* Copies what it needs of `endpoint`. ERROR_INVALID for a server that is not https. */
int transport_open(const struct endpoint *endpoint, struct transport **ret, struct error *err);
void transport_close(struct transport *t);
/* 0 once an answer of any status is here. ERROR_UNREACHABLE if there is none, ERROR_DENIED if
 * the socket may not be opened, ERROR_INTERNAL if the answer is over TRANSPORT_REPLY_BYTES. `reply`
 * is zero-initialised by the caller before its first use, overwritten by each call, ended with
 * transport_reply_free(). */
int transport_call(struct transport *t, const struct request *request, struct reply *reply,
                   struct error *err);
void transport_reply_free(struct reply *reply);
/* Done as it was asked for (RFC 9110, 15.3: 2xx). */
bool transport_is_good(const struct reply *reply);
/* "/run/…sock" or "https://…", for messages. */
const char *transport_name(const struct transport *t);
/* The same whatever folder the program is called in: a socket's path from the root on, a server's
 * address without a slash behind it. */
const char *transport_address(const struct transport *t);

#endif
