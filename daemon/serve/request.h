/* One request on its way through the daemon: read on the loop, handled on a reader thread,
 * perhaps committed by the writer, answered on the loop again. The handler owns it from the call
 * until it has called exactly one of the request_reply functions, which may be on any thread. */
#ifndef ODDLOAF_SERVE_REQUEST_H
#define ODDLOAF_SERVE_REQUEST_H

#include "base/error.h"
#include "serve/query.h"
#include "serve/sight.h"
#include "store/seen.h"
#include "store/store.h"
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What a peer may do; a peer can have several. The last one is no person's. */
enum role { ROLE_DESK = 1, ROLE_QA = 2, ROLE_MANAGER = 4, ROLE_ADMIN = 8, ROLE_METRICS = 16 };
#define ROLE_OF_PLANT (ROLE_DESK | ROLE_QA | ROLE_MANAGER) /* may be had in one plant alone */
#define ROLE_ANY (ROLE_DESK | ROLE_QA | ROLE_MANAGER | ROLE_ADMIN | ROLE_METRICS)

enum { REQUEST_PARTS = 3, REQUEST_MORE = 640 };

struct app;

struct request_answer {
    int status;
    const char *type;
    char *body; /* malloc'd, and taken over */
    size_t length;
    bool more; /* it is a piece; others follow */
};

struct request {
    struct app *app;
    unsigned roles; /* in the company or, of people of plants, in each of those that are seen */
    struct sight sight;
    bool sees_all; /* else the plants of `seen` alone: serve/plants.h */
    struct seen_plants
        seen; /* names are the setup's or the query's, which live as long as the handler runs */
    char user[64]; /* who asks: as the system, the token's file or the certificate names them */
    const char *part[REQUEST_PARTS]; /* what the route's '*' stood for, percent-decoded */
    struct query query;
    char *content_type; /* "" if none */
    char *accept;
    char *body; /* NUL-terminated */
    size_t body_length;
    bool company;        /* its route is about the company as a whole (route.h): nobody's words */
    bool no_caller;      /* its route is not the desk's: there is nobody to read out to */
    uint64_t connection; /* its number: no other has it */
    /* What the handler keeps from one piece of an answer to the next: NULL before the first. */
    void *stream;
    void (*stream_free)(void *stream);
    char more[REQUEST_MORE]; /* further headers of the answer, each ended by CR LF; "" none */
    void *slot;              /* the loop's own */
    /* The loop's way to take an answer, from any thread; called through the functions below. */
    void (*reply)(struct request *rq, const struct request_answer *answer);
    char *path; /* owns what `part` points into */
};

/* Of the query's parameters, which are those of the route's row (route.h). NULL if absent. */
const char *request_query(const struct request *rq, const char *name);
enum { REQUEST_SENDER = 160 };
/* Who sends it: the name they give (NULL or "": none), and beside it whom the daemon knows them by,
 * "me (root)". */
void request_sender(const struct request *rq, const char *given, char *out, size_t size);
/* Absent → `missing`. A malformed one fills err with the field. */
int request_query_int(const struct request *rq, const char *name, int64_t missing, int64_t *ret,
                      struct error *err);
/* The same within its limits; absent → *ret stays as it is. */
int request_query_within(const struct request *rq, const char *name, int64_t least, int64_t most,
                         int64_t *ret, struct error *err);
/* "1" and "0"; absent → `missing`. */
int request_query_flag(const struct request *rq, const char *name, bool missing, bool *ret,
                       struct error *err);
/* One of `words`, the first of which stands for an absent one; *ret is its index. The list ends
 * with NULL. */
int request_query_word(const struct request *rq, const char *name, const char *const *words,
                       int *ret, struct error *err);
/* One of the list "one two three", NULL if absent; another word fills err with the field. */
int request_query_among(const struct request *rq, const char *name, const char *words,
                        const char **ret, struct error *err);
/* A symptom's word, NULL if absent; another word fills err with the field. */
int request_query_symptom(const struct request *rq, const char **ret, struct error *err);
/* Days "from" and "to", both included; of an absent one its day stays as it is, WHEN_UNKNOWN_DAY if
 * there is none. ERROR_INVALID, with the field, if the last comes before the first. */
int request_query_days(const struct request *rq, int32_t *from, int32_t *to, struct error *err);
/* The body is NDJSON: many things in one request. */
bool request_is_lines(const struct request *rq);
/* Its member "at": when it was decided; *ret stays as it is without one. ERROR_INVALID, with the
 * field, if that is no time or lies ahead of *ret, the present. */
int request_decided(const json_t *body, int64_t *ret, struct error *err);
/* The body as one JSON object. */
int request_json(const struct request *rq, json_t **ret, struct error *err);

/* Each ends the request. `body` is taken over (malloc'd). */
void request_reply(struct request *rq, int status, const char *content_type, char *body,
                   size_t length);
void request_reply_json(struct request *rq, int status, json_t *body); /* takes the reference */
/* A piece of an answer of status 200, of at least a byte; more follow. The handler is called again,
 * on any thread, when the client has taken it, however long that is: what it goes on from is
 * rq->stream. An error instead of a later piece breaks the connection off. */
void request_reply_piece(struct request *rq, const char *content_type, char *body, size_t length);
/* A problem document (RFC 9457) of a refusal that has no code, as a new string; `hint`: what to do,
 * or NULL. */
char *request_problem(int status, const char *title, const char *detail, const char *hint);
/* A problem document (RFC 9457) from an error, with the status of its code. */
void request_reply_error(struct request *rq, int code, const struct error *err);
/* Of one that is refused, what its body says of harm, if it is no file and who sent it has a role:
 * unkept_body(). */
json_t *request_unkept(const struct request *rq);
/* Where `code` is 0 `answer` with status 200, else the error. Takes the reference, NULL beside an
 * error is fine. */
void request_reply_result(struct request *rq, int code, json_t *answer, const struct error *err);
/* The error, naming several faults: an array of {"field","value","reason"}, of which `err` is the
 * first. NULL or empty: `err` alone. `more`: further members of the document, NULL: what the body
 * says of harm (request_unkept()). */
void request_reply_faults(struct request *rq, int code, const struct error *err,
                          const json_t *faults, const json_t *more);

/* Runs on a reader thread. */
typedef void (*request_handler)(struct request *rq, struct store *store);

#endif
