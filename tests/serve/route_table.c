/* Prints the daemon's table of routes as JSON, for tests that go through all of it. The table is
 * taken in whole, since no program has a use for walking along it. */
#include "serve/route.c" // NOLINT(bugprone-suspicious-include): the table is private to it
#include <jansson.h>
#include <stdlib.h>

static json_t *roles_of(unsigned roles)
{
    static const struct {
        unsigned role;
        const char *word;
    } WORDS[] = {{ROLE_DESK, "desk"},
                 {ROLE_QA, "qa"},
                 {ROLE_MANAGER, "manager"},
                 {ROLE_ADMIN, "admin"},
                 {ROLE_METRICS, "metrics"}};
    json_t *words = json_array();
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (roles & WORDS[i].role)
            json_array_append_new(words, json_string(WORDS[i].word));
    }
    return words;
}

static const char *about_of(enum route_about about)
{
    static const char *const WORDS[] = {"case", "complaint", "named", "intake",
                                        "list", "plant",     "open",  "company"};
    return WORDS[about];
}

int main(void)
{
    json_t *routes = json_array();
    for (size_t i = 0; i < sizeof ROUTES / sizeof ROUTES[0]; i++)
        json_array_append_new(
            routes, json_pack("{s:s, s:s+, s:o, s:s, s:s}", "method", ROUTES[i].method, "path",
                              "/v1/", ROUTES[i].path, "roles", roles_of(ROUTES[i].roles), "query",
                              ROUTES[i].query, "about", about_of(ROUTES[i].about)));
    json_dumpf(routes, stdout, JSON_INDENT(1));
    json_decref(routes);
    return 0;
}
