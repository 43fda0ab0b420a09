/* The headers that stand on every answer, whatever made it. */
#ifndef ODDLOAF_SERVE_HEAD_H
#define ODDLOAF_SERVE_HEAD_H

#include "serve/conn.h"

enum { HEAD_LINES = 1152 };
#define HEAD_BUSY "Retry-After: 1\r\n"

/* Written into `lines`, which the result points into; HEAD_BUSY is among them for status 503, and
 * those of `more` stand behind them, each ended by CR LF. */
struct conn_head head_of(int status, const char *type, const char *more,
                         char lines[static HEAD_LINES]);

#endif
