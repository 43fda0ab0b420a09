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
/* A command that lists. Both functions return the exit code, having said what failed. */
struct pages_list {
    const char *member;  /* of each answer, where its rows stand */
    int64_t usual, most; /* rows: without --limit, and the largest it takes */
    /* Appends path and query, without "after" and "limit". */
    int (*ask)(const struct client *c, const struct args *a, struct text_buffer *path);
    /* Borrows what was found, and may add to `rest`. */
    int (*tell)(struct client *c, const struct args *a, struct pages *found);
};
/* Asks, GETs page after page up to --limit rows, tells. Returns the exit code, having said what
 * failed; nothing is told of pages before one that fails. */
int pages_list(struct client *c, const struct args *a, const struct pages_list *list);
/* A line that says so, if there are more. */
void pages_tell_more(const struct pages *pages, const struct client *c);
/* The rows as --json prints them: {MEMBER: […], "next"} and the other members. */
void pages_print(const struct pages *pages, const char *member);

#endif
