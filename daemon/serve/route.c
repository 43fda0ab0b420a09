#include "serve/route.h"
#include "serve/wire.h"
#include <stdio.h>
#include <string.h>

#define SHOP (ROLE_DESK | ROLE_QA | ROLE_MANAGER | ROLE_ADMIN)
#define INTAKE (ROLE_DESK | ROLE_QA)
#define QUALITY (ROLE_QA)
#define STUDY (ROLE_QA | ROLE_MANAGER)
#define QUICK ROUTE_QUICK
#define LONG ROUTE_LONG

#define ROW(method, path, roles, pace, about, handler, query)                                      \
    {method, path, roles, pace, ROUTE_##about, handler, query},
static const struct route ROUTES[] = {ROUTE_TABLE(ROW)};

/* How much of a segment of `have` bytes the '*' takes, which may have an end of its own behind it;
 * 0: it is none of those. */
static size_t taken(const char *pattern, size_t want, const char *segment, size_t have)
{
    size_t end = want - 1;
    return have > end && memcmp(segment + have - end, pattern + 1, end) == 0 ? have - end : 0;
}

/* Matches segment by segment; both ends must be reached together. Writes the '*' segments to
 * `part` as offsets into `path`, which stays whole. */
static int matches(const char *pattern, const char *path, const char *part[REQUEST_PARTS],
                   size_t lengths[REQUEST_PARTS])
{
    int parts = 0;
    for (;;) {
        size_t want = strcspn(pattern, "/"), have = strcspn(path, "/");
        if (pattern[0] == '*') {
            size_t length = taken(pattern, want, path, have);
            if (length == 0 || parts == REQUEST_PARTS)
                return 0;
            part[parts] = path;
            lengths[parts++] = length;
        } else if (want != have || strncmp(pattern, path, want) != 0) {
            return 0;
        }
        pattern += want;
        path += have;
        if (*pattern != *path)
            return 0;
        if (!*pattern)
            return 1;
        pattern++;
        path++;
    }
}

static void cut_parts(struct request *rq, const char *part[], const size_t lengths[])
{
    for (int i = REQUEST_PARTS - 1; i >= 0; i--) {
        if (!part[i])
            continue;
        char *start = rq->path + (part[i] - rq->path);
        start[lengths[i]] = '\0';
        wire_unescape(start, false);
        rq->part[i] = start;
    }
}

const struct route *route_find(const char *method, struct request *rq, char *ret_methods,
                               size_t size)
{
    static const char PREFIX[] = "/v1/";
    ret_methods[0] = '\0';
    if (strncmp(rq->path, PREFIX, sizeof PREFIX - 1) != 0)
        return NULL;
    for (size_t i = 0; i < sizeof ROUTES / sizeof ROUTES[0]; i++) {
        const char *part[REQUEST_PARTS] = {NULL};
        size_t lengths[REQUEST_PARTS] = {0};
        if (!matches(ROUTES[i].path, rq->path + sizeof PREFIX - 1, part, lengths))
            continue;
        if (strcmp(ROUTES[i].method, method) == 0) {
            cut_parts(rq, part, lengths);
            return &ROUTES[i];
        }
        size_t used = strlen(ret_methods);
        snprintf(ret_methods + used, size - used, "%s%s", used ? ", " : "", ROUTES[i].method);
    }
    return NULL;
}
