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

static void run(struct fixture *f, const char *sql)
{
    struct error err = {0};
    if (db_exec(f->store, sql, &err))
        fail_msg("%s: %s", sql, err.text);
}

/* What an older version left: a store that is the caller's telephone, beside its counts, and no
 * entry of one that says nothing of anybody. Both are found by their entries then, and nothing
 * counts what is gone. */
static void what_was_left_is_made_anew(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST,
                "{'store':'Elm Street','note':'it was sour','reference':'T-1',"
                "'contact':{'name':'Ada Marsh','phone':'555-0123'}}");
    fixture_log(f, SECOND, "{'store':'Oak Road','note':'it was sour','reference':'T-2'}");
    run(f, "UPDATE complaint SET body = replace(body, 'Elm Street', '555-0123');"
           "DELETE FROM entry;"
           "INSERT INTO pattern_series(factor, level, symptom) VALUES('store', '555-0123', 'mold'),"
           "('store', 'Ash Lane', 'mold')");
    assert_int_equal(look(f), 2);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM entry"), 2);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM entry WHERE report = '" FIRST
                                       "' AND ticket LIKE '%1'"),
                     1);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM entry WHERE report = '" SECOND
                                       "' AND ticket LIKE '%2'"),
                     1);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM complaint WHERE body LIKE '%0123%'"),
                     0);
    assert_int_equal(
        fixture_number(f, "SELECT count(*) FROM pattern_series WHERE level = '555-0123'"), 0);
    assert_int_equal(
        fixture_number(f, "SELECT count(*) FROM pattern_series WHERE level = 'Ash Lane'"), 1);
    assert_int_equal(look(f), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_are_looked_through, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_was_left_is_made_anew, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
