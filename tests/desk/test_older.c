/* Reports that an older version took in are looked through to the last, some hundreds at a time. */
#include "desk/older.h"
#include "fixture.h"
#include "store/store.h"

enum { REPORTS = 501, SLICE = 500 };

static int look(struct fixture *f)
{
    struct error err = {0};
    int count = -1;
    fixture_begin(f);
    if (older_take_in(&f->desk, f->store, &count, &err))
        fail_msg("%s", err.text);
    fixture_end(f, true);
    return count;
}

static void all_are_looked_through(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char uuid[UUID_TEXT], *kept = NULL;
    for (int i = 0; i < REPORTS; i++) {
        snprintf(uuid, sizeof uuid, "01990000-0000-7000-8000-%012d", i + 1);
        fixture_log(f, uuid, "{}");
    }
    assert_int_equal(look(f), 0); /* nothing is older */
    fixture_begin(f);
    assert_int_equal(store_setting_set(f->store, "apart/after", "0", &err), 0);
    fixture_end(f, true);
    assert_int_equal(look(f), SLICE);
    assert_int_equal(store_setting_get(f->store, "apart/after", &kept, &err), 0);
    assert_non_null(kept);
    assert_int_equal(strtoll(kept, NULL, 10), fixture_number(f, "SELECT max(id) FROM entry") - 1);
    free(kept);
    assert_int_equal(look(f), REPORTS - SLICE);
    assert_int_equal(look(f), 0);
    assert_int_equal(store_setting_get(f->store, "apart/after", &kept, &err), 0);
    assert_null(kept); /* never again */
    assert_int_equal(look(f), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_are_looked_through, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
