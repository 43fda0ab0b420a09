/* Uploads under way: a file comes in parts, each its own request; a session keeps its parser. One
 * part of a session is handled at a time; a session left alone is dropped, soon if its client has
 * gone. A user has so many and so much of them at once. Thread-safe. */
#ifndef ODDLOAF_SERVE_SESSIONS_H
#define ODDLOAF_SERVE_SESSIONS_H

#include "base/error.h"
#include "records/load.h"

struct sessions;

enum { SESSIONS_MOST = 64 }; /* uploads under way at once, of all users */

struct sessions *sessions_new(void);
void sessions_free(struct sessions *sessions);

struct sessions_part {
    const char *id; /* of the upload */
    int64_t number; /* from 0, which opens it */
    size_t bytes;
    const char *user;
    uint64_t connection; /* it came on */
    int64_t most;        /* uploads, */
    int64_t most_bytes;  /* and bytes of them, that the user may have under way */
    int64_t steady_ms;   /* when it came, clock_monotonic_ms(), as all times here */
};

/* A part begins; the first opens the upload with `options`. ERROR_CONFLICT if the part is not the
 * next one, another part is being handled, or the upload is another user's; ERROR_NOT_FOUND if the
 * session is gone (the daemon was restarted: start the upload again); ERROR_BUSY if too many are
 * open; ERROR_TOO_LARGE if the user's are larger than allowed: that upload is dropped. */
int sessions_take(struct sessions *sessions, const struct sessions_part *part,
                  const struct load_options *options, struct load **ret, struct error *err);
/* The part is done; `ended`: the session is over and its load has been freed. */
void sessions_give(struct sessions *sessions, const char *id, bool ended, int64_t steady_ms);
/* The client on that connection has gone: what it was sending is dropped unless it goes on, on
 * another one, within seconds. */
void sessions_left(struct sessions *sessions, uint64_t connection, int64_t steady_ms);
/* Drops sessions idle for ten minutes, and those whose client has gone. */
void sessions_expire(struct sessions *sessions, int64_t steady_ms);

#endif
