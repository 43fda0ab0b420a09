#include "serve/head.h"
#include <stdio.h>

struct conn_head head_of(int status, const char *type, const char *more,
                         char lines[static HEAD_LINES])
{
    snprintf(lines, HEAD_LINES,
             "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
             "Cross-Origin-Resource-Policy: same-origin\r\n%s%s",
             status == 503 ? HEAD_BUSY : "", more);
    return (struct conn_head){.status = status, .type = type, .lines = lines};
}
