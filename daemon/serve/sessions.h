/* Uploads under way: a file comes in parts, each its own request; a session keeps its parser. One
 * part of a session is handled at a time; a session left alone is dropped. Thread-safe. */
#ifndef ODDLOAF_SERVE_SESSIONS_H
#define ODDLOAF_SERVE_SESSIONS_H

#include "base/error.h"
#include "records/load.h"

struct sessions;

enum { SESSIONS_MOST = 64 }; /* uploads under way at once */

struct sessions *sessions_new(void);
void sessions_free(struct sessions *sessions);

struct sessions_part {
    const char *id; /* of the upload */
    int64_t number; /* from 0 */
    int64_t at_ms;  /* when it came */
};
/* A part begins to be handled. Part 0 opens the upload with `options`; ERROR_CONFLICT if the
 * part is not the next one or another part is being handled, ERROR_NOT_FOUND if the session is gone
 * (the daemon was restarted: start the upload again), ERROR_BUSY if too many are open. */
int sessions_take(struct sessions *sessions, const struct sessions_part *part,
                  const struct load_options *options, struct load **ret, struct error *err);
/* The part is done; `ended`: the session is over and its load has been freed. */
void sessions_give(struct sessions *sessions, const char *id, bool ended, int64_t now_ms);
/* Drops sessions idle for ten minutes. */
void sessions_expire(struct sessions *sessions, int64_t now_ms);

#endif
