/* Lists that the daemon answers page by page. */
#ifndef ODDLOAF_CLIENT_COMMANDS_PAGES_H
#define ODDLOAF_CLIENT_COMMANDS_PAGES_H

#include "commands/args.h"
#include "deliver/client.h"

struct pages {
    json_t *rows;  /* array */
    json_t *rest;  /* the other members of the last answer */
    char next[32]; /* what the next page is asked with, "" there is none */
};
/* How many rows --limit asks for, from 1 to `most`; not said, `usual`. Returns the exit code,
 * having said what is wrong with it. */
int pages_limit(const struct client *c, const struct args *a, int64_t usual, int64_t most,
                int64_t *ret);
/* GETs `path`, which may have a query, page after page up to `limit` rows; they stand under
 * `member` of each answer. Returns the exit code, having said what failed; pages_free() in any
 * case. */
int pages_get(struct client *c, const char *path, const char *member, int64_t limit,
              struct pages *ret);
void pages_free(struct pages *pages);
/* A line that says so, if there are more. */
void pages_tell_more(const struct pages *pages, const struct client *c);
/* The rows as --json prints them: {MEMBER: […], "next"} and the other members. */
void pages_print(const struct pages *pages, const char *member);

#endif
