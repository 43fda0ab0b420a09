/* Input: a method, a blank, a path and, after '?', a query. The path is matched with the table of
 * routes and cut in parts, the query read and checked. */
#include "base/text.h"
#include "fuzz.h"
#include "serve/route.h"
#include <string.h>

static char *take(char **rest, char end)
{
    char *word = *rest;
    char *at = strchr(word, end);
    *rest = at ? at + 1 : word + strlen(word);
    if (at)
        *at = '\0';
    return word;
}

/* What passed stands there once, is text, has a value, and is found by its name. */
static void check_query(const char *text, const char *known)
{
    struct query query;
    struct error err = {0};
    query_read(text, &query);
    int rc = query_check(&query, known, &err);
    PROMISE((rc != 0) == (err.code != ERROR_NONE));
    PROMISE(!rc || (err.text[0] && err.hint[0]));
    for (size_t i = 0; i < query.count && !rc; i++) {
        const struct query_pair *pair = &query.pairs[i];
        PROMISE(strlen(pair->value) == pair->length && pair->length > 0);
        PROMISE(text_is_utf8(pair->value, pair->length));
        PROMISE(query_get(&query, pair->name) == pair->value);
    }
    query_clear(&query);
}

/* A part is never longer than what stood in the path, and every route's own path leads to it. */
static void check_route(const char *method, const char *path, const char *query)
{
    char methods[64];
    struct request rq = {.path = xstrdup(path)};
    const struct route *route = route_find(method, &rq, methods, sizeof methods);
    PROMISE(strlen(methods) < sizeof methods);
    if (route) {
        PROMISE(strcmp(route->method, method) == 0);
        for (int i = 0; i < REQUEST_PARTS; i++)
            PROMISE(!rq.part[i] || strlen(rq.part[i]) <= strlen(path));
    }
    check_query(query, route ? route->query : "");
    free(rq.path);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = xstrndup((const char *)data, size);
    char *rest = text;
    char *method = take(&rest, ' ');
    char *path = take(&rest, '?');
    check_route(method, path, rest);
    free(text);
    return 0;
}
