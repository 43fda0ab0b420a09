/* What somebody meant. */
#include "base/near.h"
#include "check.h"
#include <string.h>

static const char WORDS[] = "mold off-odor staling other packed-hot film-mold";

static void slips_are_counted(void **state)
{
    static const struct {
        const char *a, *b;
        size_t edits;
    } ROWS[] = {{"week", "week", 0},  {"wekk", "week", 1}, {"week", "weke", 1}, {"wek", "week", 1},
                {"weeek", "week", 1}, {"", "abc", 3},      {"rank", "why", 4}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_int_equal(near_edits(ROWS[i].a, ROWS[i].b), ROWS[i].edits);
}

static void the_nearest_is_meant(void **state)
{
    static const struct {
        const char *said, *meant;
    } ROWS[] = {{"mould", "mold"},
                {"odor", "off-odor"},
                {"off-oder", "off-odor"},
                {"stalling", "staling"},
                {"packed", "packed-hot"},
                {"pakced-hot", "packed-hot"},
                {"xyz", NULL},
                {"", NULL},
                {"hot", NULL}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char best[NEAR_BYTES];
        struct near near = near_to(ROWS[i].said);
        near_try_each(&near, WORDS, best);
        if (ROWS[i].meant)
            assert_string_equal(near.word, ROWS[i].meant);
        else
            assert_null(near.word);
    }
}

static void a_hint_says_it(void **state)
{
    struct error err = {0}, usual = {0};
    (void)state;
    near_hint(&(struct near){.word = "mold"}, "see the list", &err);
    assert_string_equal(err.hint, "did you mean mold?");
    near_hint(&(struct near){0}, "see the list", &usual);
    assert_string_equal(usual.hint, "see the list");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(slips_are_counted),
                                       cmocka_unit_test(the_nearest_is_meant),
                                       cmocka_unit_test(a_hint_says_it)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
