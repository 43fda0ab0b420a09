/* The query of a request: parameters, each with a name and a value. A misspelt one that is passed
 * over does what nobody asked for (`dry_rnu=1` applies the file), so what a route does not know,
 * and what has no value, is refused. */
#ifndef ODDLOAF_SERVE_QUERY_H
#define ODDLOAF_SERVE_QUERY_H

#include "base/error.h"
#include <stddef.h>

struct query_pair {
    char *name, *value; /* percent-decoded */
    size_t length;      /* bytes of the value: more than strlen() if it holds a NUL */
};

struct query {
    struct query_pair *pairs;
    size_t count;
    const char *known; /* names the route knows, blanks between; "" none. Set by query_check() */
};

/* `text`: what follows the question mark; NULL none. */
void query_read(const char *text, struct query *ret);
void query_clear(struct query *query);
/* ERROR_INVALID names the first parameter that is not among `known`, has no value, is no UTF-8 text
 * or stands twice. */
int query_check(struct query *query, const char *known, struct error *err);
/* NULL if absent. `name` is one that the route knows. */
const char *query_get(const struct query *query, const char *name);

#endif
