/* Lines out of a stream that arrives in pieces cut anywhere. A line ends with LF (a CR before it
 * belongs to the line). Memory is bounded: what is longer than `limit` is passed on as too long,
 * once, and skipped up to its LF. */
#ifndef ODDLOAF_TABLES_LINES_H
#define ODDLOAF_TABLES_LINES_H

#include "base/text.h"

struct lines {
    size_t limit;             /* set by the caller, bytes */
    long number;              /* of the last line passed on, from 1 */
    struct text_buffer carry; /* the line that is not yet whole */
    bool skipping;
};

/* `line` is not NUL-terminated and lives until the call returns; NULL: line `number` is too long.
 */
typedef void (*lines_each)(void *arg, const char *line, size_t length, long number);

void lines_feed(struct lines *lines, const char *bytes, size_t length, lines_each each, void *arg);
/* The last line, if it has no LF. */
void lines_finish(struct lines *lines, lines_each each, void *arg);
void lines_free(struct lines *lines);

#endif
