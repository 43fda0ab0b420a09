/* Whom connections are counted by. */
#include "check.h"
#include "serve/peer.h"
#include <arpa/inet.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const char *name_of(int family, const char *address)
{
    static char name[64];
    struct sockaddr_in6 v6 = {.sin6_family = AF_INET6, .sin6_port = 1};
    struct sockaddr_in v4 = {.sin_family = AF_INET, .sin_port = 2};
    const struct sockaddr *from =
        family == AF_INET ? (const struct sockaddr *)&v4 : (const struct sockaddr *)&v6;
    inet_pton(family, address, family == AF_INET ? (void *)&v4.sin_addr : (void *)&v6.sin6_addr);
    peer_name_at_door(-1, from, name, sizeof name);
    return name;
}

static void an_address_is_one_peer(void **state)
{
    (void)state;
    assert_string_equal(name_of(AF_INET, "192.0.2.7"), "192.0.2.7");
    assert_string_equal(name_of(AF_INET6, "2001:db8:1:2:3:4:5:6"), "2001:db8:1:2::");
    assert_string_equal(name_of(AF_INET6, "2001:db8:1:2:ffff::1"), "2001:db8:1:2::");
    assert_string_equal(name_of(AF_INET6, "2001:db8:1:3::1"), "2001:db8:1:3::");
    assert_string_equal(name_of(AF_INET6, "::ffff:192.0.2.7"), "::ffff:192.0.2.7");
}

static void a_local_user_is_one_peer(void **state)
{
    int pair[2];
    char name[64], wanted[64];
    const struct sockaddr from = {.sa_family = AF_UNIX};
    (void)state;
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, pair), 0);
    peer_name_at_door(pair[0], &from, name, sizeof name);
    snprintf(wanted, sizeof wanted, "uid %lu", (unsigned long)geteuid());
    assert_string_equal(name, wanted);
    close(pair[0]);
    close(pair[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_address_is_one_peer),
        cmocka_unit_test(a_local_user_is_one_peer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
