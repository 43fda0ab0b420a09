#include "serve/head.h"
#include <stdio.h>
#include <string.h>

/* Of a page: it needs nothing but itself, runs nothing, and is shown within no other. */
static const char PAGE[] =
    "Content-Security-Policy: default-src 'none'; style-src 'unsafe-inline'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'\r\n"
    "Referrer-Policy: no-referrer\r\n";

struct conn_head head_of(int status, const char *type, const char *more,
                         char lines[static HEAD_LINES])
{
    snprintf(lines, HEAD_LINES,
             "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
             "Cross-Origin-Resource-Policy: same-origin\r\n%s%s%s",
             status == 503 ? HEAD_BUSY : "", strncmp(type, "text/html", 9) == 0 ? PAGE : "", more);
    return (struct conn_head){.status = status, .type = type, .lines = lines};
}
