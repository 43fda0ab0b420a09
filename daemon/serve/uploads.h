/* Files that come in parts, each its own request, and are kept in memory until they are whole:
 * nothing of one that is broken off is ever on disk. So many at once, of so many bytes each; when
 * all places are taken, who has the most gives one up to who has fewer by two or more.
 * Thread-safe. */
#ifndef ODDLOAF_SERVE_UPLOADS_H
#define ODDLOAF_SERVE_UPLOADS_H

#include "base/error.h"
#include "base/text.h"

struct uploads;

enum { UPLOADS_MOST = 16, UPLOADS_OF_USER = 4 };

struct uploads *uploads_new(void);
void uploads_free(struct uploads *uploads);

struct uploads_part {
    const char *id;   /* of the upload: a UUID */
    int64_t number;   /* from 0, which opens it */
    const char *user; /* whose it is, and stays */
    const void *bytes;
    size_t length, most; /* most: of the whole file */
    int64_t steady_ms;   /* clock_monotonic_ms(): a clock that is set ends none, and keeps none */
};
/* ERROR_CONFLICT if the part is not the next one or the upload another's; ERROR_NOT_FOUND if it is
 * gone: begin again; ERROR_BUSY if too many are open; ERROR_TOO_LARGE: it is dropped. */
int uploads_add(struct uploads *uploads, const struct uploads_part *part, size_t *ret_length,
                struct error *err);
/* The whole of it, which ends it; the caller's. ERROR_NOT_FOUND if the user has no such upload. */
int uploads_take(struct uploads *uploads, const char *id, const char *user, struct text_buffer *ret,
                 struct error *err);
/* Drops those that nothing came for within a minute. */
void uploads_expire(struct uploads *uploads, int64_t steady_ms);

#endif
