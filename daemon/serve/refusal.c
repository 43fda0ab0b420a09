#include "serve/refusal.h"
#include "base/text.h"
#include "serve/head.h"
#include "serve/peer.h"
#include "serve/role.h"
#include "serve/tls.h"
#include <event2/bufferevent_ssl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void refusal_set(struct refusal *r, int status, const char *title, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    r->status = status;
    r->title = title;
    vsnprintf(r->detail, sizeof r->detail, format, args);
    va_end(args);
}

void refusal_send(const struct refusal *r, struct conn *conn)
{
    char lines[HEAD_LINES];
    struct conn_head head = head_of(r->status, "application/problem+json", r->more, lines);
    head.close = r->close;
    char *body =
        request_problem(r->status, r->title, r->detail, r->unheard ? REFUSAL_UNHEARD : NULL);
    conn_answer(conn, &head, body, strlen(body));
}

void refusal_stopping(struct refusal *r)
{
    refusal_set(r, 503, "The daemon is stopping", "the daemon is stopping; try again in a moment");
    r->close = true;
}

/* About a complaint, a case, a lot: not rows of a file, nor what an administrator asks. */
static bool is_written_by_people(const struct route *route)
{
    return route && strcmp(route->method, "POST") == 0 && route->about != ROUTE_OPEN &&
           route->about != ROUTE_COMPANY;
}

void refusal_unheard(struct refusal *r, const struct route *route)
{
    r->unheard = !route || is_written_by_people(route);
}

void refusal_of_fault(struct refusal *r, const struct wire_fault *fault, const struct route *route)
{
    if (route || fault->status == 413)
        refusal_unheard(r, route);
    r->close = true;
    refusal_set(r, fault->status,
                fault->status == 413   ? "The body is larger than this daemon takes"
                : fault->status == 408 ? "The request came too slowly"
                : fault->status == 501 ? "That is not known here"
                                       : "The request is malformed",
                "%s", fault->detail);
}

static bool is_known_method(const char *method)
{
    static const char *const KNOWN[] = {"GET",    "HEAD",    "POST",  "PUT",
                                        "DELETE", "OPTIONS", "PATCH", "TRACE"};
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++) {
        if (strcmp(KNOWN[i], method) == 0)
            return true;
    }
    return false;
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

/* HEAD is GET without the body. */
static void find_route(struct pending *p, const char *method, struct refusal *r)
{
    char methods[32];
    bool is_head = strcmp(method, "HEAD") == 0;
    p->route = route_find(is_head ? "GET" : method, &p->request, methods, sizeof methods);
    p->request.company = p->route && p->route->about == ROUTE_COMPANY;
    p->request.no_caller = p->route && !(p->route->roles & ROLE_DESK);
    if (!is_known_method(method)) {
        refusal_set(r, 501, "That method is not known", "of methods GET, HEAD and POST are taken");
    } else if (!p->route && methods[0]) {
        bool reads = strstr(methods, "GET") != NULL;
        refusal_set(r, 405, "That method does not go with this path", "this path takes %s%s",
                    methods, reads ? ", HEAD" : "");
        snprintf(r->more, sizeof r->more, "Allow: %s%s\r\n", methods, reads ? ", HEAD" : "");
    } else if (!p->route) {
        refusal_set(r, 404, "There is no such path", "oddloafd(8) lists the paths, all below /v1/");
    } else if (!is_all_text(&p->request)) {
        refusal_set(r, 400, "The path is not text", "what the path escapes is not UTF-8");
    }
}

/* What a page of another site can have a browser send, with the certificate of whoever reads it. No
 * page of ours posts anything, so that nothing a browser posts is meant. */
static void refuse_browsers(const struct wire *wire, struct refusal *r)
{
    static const char *const FORMS[] = {"text/plain", "multipart/form-data",
                                        "application/x-www-form-urlencoded"};
    const char *site = wire_header(wire, "Sec-Fetch-Site");
    const char *type = wire_header(wire, "Content-Type");
    if (strcmp(wire_method(wire), "POST") != 0)
        return;
    if (wire_header(wire, "Origin") || (site && strcmp(site, "none") != 0)) {
        refusal_set(r, 403, "Not from a page of the web",
                    "a browser sends this for a page, and no page of this daemon sends anything");
        return;
    }
    for (size_t i = 0; type && i < sizeof FORMS / sizeof FORMS[0]; i++) {
        char word[64];
        snprintf(word, sizeof word, "%.*s", (int)strcspn(type, "; \t"), type);
        if (text_equal_fold(word, FORMS[i]))
            refusal_set(r, 415, "That type of body is not taken",
                        "%s is no type that is read here: application/json, application/x-ndjson, "
                        "text/csv",
                        FORMS[i]);
    }
}

/* Who brings nothing to be known by is not read any further. */
static void refuse_strangers(const struct pending *p, struct refusal *r)
{
    char needed[64];
    if (pending_is_known(p) || !p->route)
        return;
    role_words(p->route->roles, needed, sizeof needed);
    refusal_set(r, 403, "Not allowed for this role", "this needs the role %s", needed);
}

void refusal_at_head(struct refusal *r, struct pending *p)
{
    const struct wire *wire = conn_wire(p->conn);
    SSL *ssl = bufferevent_openssl_get_ssl(conn_bufferevent(p->conn));
    if (ssl && !tls_names(ssl, wire_host(wire)))
        refusal_set(r, 421, "Another host is meant",
                    "the daemon's certificate does not name the host %.100s", wire_host(wire));
    if (!r->status)
        find_route(p, wire_method(wire), r);
    if (!r->status)
        refuse_browsers(wire, r);
    if (!r->status)
        refuse_strangers(p, r);
    if (p->route || strcmp(wire_method(wire), "POST") == 0)
        refusal_unheard(r, p->route);
}
