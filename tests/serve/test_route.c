/* Who may do what: the table of routes against what each role is for. */
#include "base/text.h"
#include "check.h"
#include "serve/route.h"
#include <stdlib.h>
#include <string.h>

static unsigned roles_of(const char *method, const char *path, char part[32])
{
    char methods[128];
    struct request rq = {.path = xstrdup(path)};
    const struct route *route = route_find(method, &rq, methods, sizeof methods);
    part[0] = '\0';
    if (route && rq.part[0])
        text_clip(rq.part[0], part, 32);
    unsigned roles = route ? route->roles : 0;
    free(rq.path);
    return roles;
}

static void everybody_sees_the_outbox_and_few_send_it(void **state)
{
    char part[32];
    (void)state;
    assert_int_equal(roles_of("GET", "/v1/outbox", part), ROLE_ANY & ~(unsigned)ROLE_METRICS);
    assert_int_equal(roles_of("POST", "/v1/outbox/12/send", part), ROLE_QA | ROLE_ADMIN);
    assert_string_equal(part, "12");
    assert_int_equal(roles_of("GET", "/v1/outbox/12/send", part), 0);
    assert_int_equal(roles_of("POST", "/v1/outbox", part), 0);
}

/* A page beside the answer of the same thing; its end is no part of the name. */
static void pages_end_in_html(void **state)
{
    char part[32];
    (void)state;
    assert_int_equal(roles_of("GET", "/v1/cases/C12.html", part), ROLE_QA | ROLE_MANAGER);
    assert_string_equal(part, "C12");
    assert_int_equal(roles_of("GET", "/v1/weeks/2026-W47.html", part), ROLE_QA | ROLE_MANAGER);
    assert_string_equal(part, "2026-W47");
    assert_true(roles_of("GET", "/v1/cases/C12", part) & ROLE_DESK);
    assert_true(roles_of("GET", "/v1/cases/.html", part) & ROLE_DESK); /* no case's page */
    assert_string_equal(part, ".html");
    assert_int_equal(roles_of("GET", "/v1/cases/C12.html/why", part),
                     roles_of("GET", "/v1/cases/1/why", part));
    assert_int_equal(roles_of("POST", "/v1/cases/C12.html", part), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everybody_sees_the_outbox_and_few_send_it),
        cmocka_unit_test(pages_end_in_html),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
