/* Lists that the daemon answers page by page. */
#ifndef ODDLOAF_CLIENT_COMMANDS_PAGES_H
#define ODDLOAF_CLIENT_COMMANDS_PAGES_H

#include "deliver/client.h"

struct pages {
    json_t *rows;  /* array */
    char next[32]; /* what the next page is asked with, "" there is none */
};
/* GETs `path`, which may have a query, page after page up to `limit` rows; they stand under
 * `member` of each answer. Returns the exit code, having said what failed; pages_free() in any
 * case. */
int pages_get(struct client *c, const char *path, const char *member, int64_t limit,
              struct pages *ret);
void pages_free(struct pages *pages);
/* The rows as --json prints them: {MEMBER: […], "next"}. */
void pages_print(const struct pages *pages, const char *member);

#endif
