/* Users of this machine, by their numbers. */
#include "check.h"
#include "serve/request.h"
#include "serve/role.h"
#include "serve/users.h"
#include <pwd.h>
#include <string.h>
#include <unistd.h>

static struct config *settings(void)
{
    struct config *config = NULL;
    assert_int_equal(config_load(NULL, NULL, NULL, &config, NULL), 0);
    return config;
}

static void two_of_one_slot_are_two(void **state)
{
    (void)state;
    struct config *config = settings();
    struct users *users = users_new(config);
    uid_t none = 999999936 + geteuid() % 64; /* another who is looked for where this one is kept */
    assert_null(getpwuid(none));
    for (int64_t now_ms = 0; now_ms < 3 * USERS_KEPT_MS; now_ms += USERS_KEPT_MS / 2) {
        struct user_known own = users_get(users, geteuid(), now_ms);
        struct user_known other = users_get(users, none, now_ms);
        assert_int_equal(own.sight.company, ROLE_ANY);
        assert_string_equal(own.name, getpwuid(geteuid())->pw_name);
        assert_int_equal((int)sight_anywhere(&other.sight), 0);
        assert_memory_equal(other.name, "uid 9999999", 11);
    }
    users_free(users);
    config_free(config);
}

/* What oddloafd(8) says of a role that was lost. */
static void the_manual_says_how_long_a_role_is_kept(void **state)
{
    (void)state;
    struct text_buffer page = {0};
    char part[512];
    FILE *file = fopen(ODDLOAF_SOURCE_DIR "/daemon/oddloafd.8", "r");
    assert_non_null(file);
    for (size_t n; (n = fread(part, 1, sizeof part, file)) > 0;)
        text_append_bytes(&page, part, n);
    fclose(file);
    assert_non_null(strstr(page.data, "user's groups is kept for a second: so long who left"));
    assert_int_equal(USERS_KEPT_MS, 1000);
    text_buffer_free(&page);
}

static void roles_are_said_by_their_words(void **state)
{
    (void)state;
    static const struct {
        unsigned roles;
        const char *words;
    } SAID[] = {
        {0, ""},
        {ROLE_QA, "qa"},
        {ROLE_DESK | ROLE_QA, "desk or qa"},
        {ROLE_QA | ROLE_ADMIN, "qa or admin"},
        {ROLE_DESK | ROLE_QA | ROLE_MANAGER | ROLE_ADMIN, "desk or qa or manager or admin"}};
    char words[64];
    for (size_t i = 0; i < COUNT_OF(SAID); i++) {
        role_words(SAID[i].roles, words, sizeof words);
        assert_string_equal(words, SAID[i].words);
    }
    role_words(ROLE_DESK | ROLE_QA, words, 7);
    assert_string_equal(words, "desk o");
    for (const struct role_row *row = role_rows(); row->word; row++)
        assert_int_equal((int)role_of(row->word), (int)row->role);
    assert_int_equal((int)role_of("des"), 0);
    assert_int_equal((int)role_of("desks"), 0);
    assert_int_equal((int)role_of(""), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_of_one_slot_are_two),
        cmocka_unit_test(roles_are_said_by_their_words),
        cmocka_unit_test(the_manual_says_how_long_a_role_is_kept),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
