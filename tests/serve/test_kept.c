/* What several ask for at once is made by one of them. */
#include "base/text.h"
#include "check.h"
#include "serve/kept.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { PEOPLE = 6 };

static struct kept *kept;

static char *take(const char *key, uint64_t written, int64_t now_ms, uint64_t *turn)
{
    const struct kept_asked asked = {key, written, now_ms};
    return kept_take(kept, &asked, NULL, turn);
}

static int set_up(void **state)
{
    (void)state;
    kept = kept_new();
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    kept_free(kept);
    return 0;
}

static void has(const char *key, uint64_t written, int64_t now_ms, const char *want)
{
    uint64_t turn;
    char *text = take(key, written, now_ms, &turn);
    if (want) {
        assert_non_null(text);
        assert_string_equal(text, want);
        assert_int_equal(turn, 0);
    } else {
        assert_null(text);
        assert_int_not_equal(turn, 0);
        kept_put(kept, turn, NULL);
    }
    free(text);
}

static void make(const char *key, uint64_t written, int64_t now_ms, const char *text)
{
    uint64_t turn;
    assert_null(take(key, written, now_ms, &turn));
    kept_put(kept, turn, text);
}

static void it_holds_until_something_is_written(void **state)
{
    (void)state;
    make("W47", 3, 0, "seven");
    has("W47", 3, 59999, "seven");
    has("W48", 3, 0, NULL);
    has("W47", 2, 0, "seven"); /* who asked before the last commit has what is newer */
    has("W47", 4, 0, NULL);
    has("W47", 3, 0, NULL); /* and then it is gone */
}

static void it_holds_a_minute_by_any_clock(void **state)
{
    (void)state;
    make("W47", 3, 100000, "seven");
    has("W47", 3, 40001, "seven");
    has("W47", 3, 160000, NULL);
    make("W47", 3, 100000, "seven");
    has("W47", 3, 40000, NULL);
}

static void what_is_long_is_not_kept_and_the_oldest_goes(void **state)
{
    (void)state;
    const size_t length = 5 << 20;
    char *large = xcalloc(1, length + 1), key[2] = "a";
    memset(large, 'x', length);
    make("large", 1, 0, large);
    has("large", 1, 0, NULL);
    free(large);
    for (; key[0] <= 'i'; key[0]++)
        make(key, 1, 0, key);
    has("b", 1, 0, "b");
    has("i", 1, 0, "i");
    has("a", 1, 0, NULL);
}

/* ---- many at once ---- */

static int made, failures; /* atomic */

static void *ask(void *arg)
{
    uint64_t turn;
    char *text = take("W47", 1, 0, &turn);
    if (!text) {
        __atomic_add_fetch(&made, 1, __ATOMIC_SEQ_CST);
        bool fails = __atomic_sub_fetch(&failures, 1, __ATOMIC_SEQ_CST) >= 0;
        text = fails ? NULL : xstrdup("seven");
        kept_put(kept, turn, text);
    }
    *(bool *)arg = text && strcmp(text, "seven") == 0;
    free(text);
    return NULL;
}

static int people_ask(int fails)
{
    pthread_t person[PEOPLE];
    bool has_it[PEOPLE];
    int without = 0;
    made = 0;
    failures = fails;
    for (int i = 0; i < PEOPLE; i++)
        assert_int_equal(pthread_create(&person[i], NULL, ask, &has_it[i]), 0);
    for (int i = 0; i < PEOPLE; i++) {
        pthread_join(person[i], NULL);
        without += !has_it[i];
    }
    return without;
}

static void one_makes_it_for_all(void **state)
{
    (void)state;
    assert_int_equal(people_ask(0), 0);
    assert_int_equal(made, 1);
}

static void another_makes_what_failed(void **state)
{
    (void)state;
    assert_int_equal(people_ask(2), 2);
    assert_int_equal(made, 3);
}

/* Who waits is given what the first one makes, however often it looks meanwhile. */
static void who_waits_has_what_the_first_one_makes(void **state)
{
    (void)state;
    uint64_t turn;
    pthread_t waits;
    bool has_it = false;
    made = failures = 0;
    assert_null(take("W47", 1, 0, &turn));
    assert_int_equal(pthread_create(&waits, NULL, ask, &has_it), 0);
    kept_put(kept, turn, "seven");
    pthread_join(waits, NULL);
    assert_true(has_it);
    assert_int_equal(made, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(it_holds_until_something_is_written, set_up, tear_down),
        cmocka_unit_test_setup_teardown(it_holds_a_minute_by_any_clock, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_long_is_not_kept_and_the_oldest_goes, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(one_makes_it_for_all, set_up, tear_down),
        cmocka_unit_test_setup_teardown(another_makes_what_failed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(who_waits_has_what_the_first_one_makes, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
