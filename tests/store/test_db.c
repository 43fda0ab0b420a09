/* Statements: what fails answers the code that its error carries, and a query that was left early
 * leaves nothing open. */
#include "fixture.h"
#include "store/lot_find.h"
#include "store/store_inside.h"
#include <pthread.h>

/* Rows kept are as they were read, and leave the connection free for other statements. */
static void test_rows_kept_live_beside_other_statements(void **state)
{
    struct fixture *f = *state;
    static const char SQL[] = "SELECT 1 AS n, 'one' AS name, 0.5 AS x UNION ALL"
                              " SELECT 2, NULL, 7 ORDER BY n";
    static const char SQL_OTHER[] = "SELECT 'other'";
    struct error err = {0};
    struct db_query q = db_query(f->store, SQL, NULL, &err);
    db_keep(&q);
    assert_true(db_next(&q));
    struct db_query other = db_query(f->store, SQL_OTHER, NULL, &err);
    assert_true(db_next(&other));
    assert_int_equal(db_int(&q, 0), 1);
    assert_string_equal(db_text(&q, 1), "one");
    assert_true(db_real(&q, 2) == 0.5);
    assert_string_equal(db_text(&other, 0), "other");
    assert_int_equal(db_end(&other, 0), 0);
    assert_true(db_next(&q));
    assert_int_equal(db_int64(&q, 0), 2);
    assert_string_equal(db_text(&q, 1), "");
    assert_true(db_real(&q, 2) == 7);
    assert_int_equal(q.rows, 2);
    assert_false(db_next(&q));
    assert_int_equal(db_end(&q, 5), 5);
    q = db_query(f->store, SQL, NULL, &err);
    db_keep(&q);
    assert_true(db_next(&q)); /* left early: freed */
    assert_int_equal(db_end(&q, 0), 0);
}

/* An empty file is read as a database without a table: no statement can be prepared. */
static void test_code_and_error_agree_where_no_table_is(void **state)
{
    if (state_on_server())
        skip();
    (void)state;
    char dir[] = "/tmp/oddloaf-empty-XXXXXX", path[64];
    struct store *store = NULL;
    struct lot_find_row lot;
    struct lot_find_product product;
    struct lot_find_volume volume;
    struct error err[4] = {0};
    assert_non_null(mkdtemp(dir));
    snprintf(path, sizeof path, "%s/oddloaf.db", dir);
    fclose(fopen(path, "w"));
    assert_int_equal(store_open(dir, STORE_READ, &store, &err[0]), 0);
    assert_int_equal(lot_find_by_code(store, "L1", &lot, &err[1]), ERROR_IO);
    assert_int_equal(err[1].code, ERROR_IO);
    assert_int_equal(lot_find_product_by_code(store, "W24", &product, &err[2]), ERROR_IO);
    assert_int_equal(err[2].code, ERROR_IO);
    assert_int_equal(lot_find_volume(store, 0, &volume, &err[3]), ERROR_IO);
    assert_int_equal(err[3].code, ERROR_IO);
    store_close(store);
    unlink(path);
    rmdir(dir);
}

static const char SQL_THREE[] = "VALUES(1, 'a'), (2, ''), (3, NULL)";

static void test_a_query_left_early_is_reset(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    for (int i = 0; i < 2; i++) {
        struct db_query q = db_query(f->store, SQL_THREE, NULL, &err);
        assert_true(db_next(&q));
        assert_int_equal(db_int(&q, 0), 1);
        assert_string_equal(db_text(&q, 1), "a");
        assert_int_equal(db_end(&q, 7), 7);
        assert_false(db_next(&q));
    }
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(store_commit(f->store, &err), 0);
}

static void test_unknown_values_are_null(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    static const char SQL[] = "SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7 = '', ?8, ?9";
    struct db_query q =
        db_query(f->store, SQL,
                 DB(DB_ID(0), DB_MS(WHEN_UNKNOWN_MS), DB_DAY(WHEN_UNKNOWN_DAY), DB_REAL(NAN),
                    DB_TEXT(NULL), DB_SAID(""), DB_TEXT(""), DB_INT(-5), DB_DAY(-1)),
                 &err);
    assert_true(db_next(&q));
    for (int at = 0; at < 6; at++)
        assert_int_equal(db_cell(&q, at).form, RECORD_NOTHING);
    assert_int_equal(db_ms(&q, 1), WHEN_UNKNOWN_MS);
    assert_int_equal(db_day(&q, 2), WHEN_UNKNOWN_DAY);
    assert_true(isnan(db_real(&q, 3)));
    assert_string_equal(db_text(&q, 4), "");
    assert_int_equal(db_int(&q, 6), 1);
    assert_int_equal(db_int64(&q, 7), -5);
    assert_int_equal(db_day(&q, 8), -1);
    assert_int_equal(db_end(&q, 0), 0);
}

static void test_none_found_says_what(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    static const char SQL[] = "SELECT id FROM lot WHERE id = ?1";
    struct db_query q = db_query(f->store, SQL, DB(DB_INT(9)), &err);
    assert_false(db_next(&q));
    assert_int_equal(db_found(&q, "there is no lot %d", 9), ERROR_NOT_FOUND);
    assert_int_equal(err.code, ERROR_NOT_FOUND);
    assert_string_equal(err.text, "there is no lot 9");
}

static void test_a_broken_constraint_is_a_conflict(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    static const char SQL[] = "INSERT INTO quantity(id, name) VALUES(1, ?1)";
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(db_run(f->store, SQL, DB(DB_TEXT("a")), &err), 0);
    assert_int_equal(db_changes(f->store), 1);
    assert_int_equal(db_run(f->store, SQL, DB(DB_TEXT("b")), &err), ERROR_CONFLICT);
    assert_int_equal(err.code, ERROR_CONFLICT);
}

static void *drop_soon(void *dropped)
{
    usleep(20000);
    atomic_store((atomic_bool *)dropped, true);
    return NULL;
}

/* A statement that would take hours, in the middle of it. */
static void test_what_nobody_waits_for_ends(void **state)
{
    struct fixture *f = *state;
    static const char SQL[] = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE"
                              " i < 100000000000) SELECT count(*) FROM n";
    static const char SQL_SHORT[] = "SELECT 7";
    struct error err = {0};
    atomic_bool dropped = false;
    pthread_t thread;
    int64_t count = 0;
    store_drop_if(f->store, &dropped);
    assert_false(store_is_dropped(f->store));
    assert_int_equal(pthread_create(&thread, NULL, drop_soon, &dropped), 0);
    assert_int_equal(db_number(f->store, SQL, NULL, &count, &err), ERROR_IO);
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_true(store_is_dropped(f->store));
    store_drop_if(f->store, NULL);
    assert_false(store_is_dropped(f->store));
    assert_int_equal(db_number(f->store, SQL_SHORT, NULL, &count, NULL), 0);
    assert_int_equal(count, 7);
}

/* A log cut between a commit and the note of its length is missed all the same. */
static void test_a_log_cut_before_it_was_noted_is_told(void **state)
{
    if (state_on_server())
        skip();
    struct fixture *f = *state;
    static const char SQL_MAKE[] = "CREATE TABLE cut (n)", SQL_ADD[] = "INSERT INTO cut VALUES (1)",
                      SQL_COMMIT[] = "COMMIT";
    struct error err = {0};
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(db_run(f->store, SQL_MAKE, NULL, &err), 0);
    assert_int_equal(store_commit(f->store, &err), 0);
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, NULL, &err), 0);
    char log[80];
    snprintf(log, sizeof log, "%s/oddloaf.db-wal", f->dir);
    assert_int_equal(db_run(f->store, SQL_COMMIT, NULL, &err), 0);
    assert_int_equal(truncate(log, 0), 0);
    files_note(&f->store->files, f->store->path, f->store->log_bytes);
    assert_int_equal(store_present(f->store, &err), ERROR_LOST);
    assert_non_null(strstr(err.text, "oddloaf.db-wal was cut short"));
}

/* What commits add to the log goes to the database every 4,000 pages, and the log is begun anew. */
static void test_the_log_is_emptied_as_it_grows(void **state)
{
    if (state_on_server())
        skip();
    struct fixture *f = *state;
    static const char SQL_MAKE[] = "CREATE TABLE much (n)",
                      SQL_ADD[] = "INSERT INTO much VALUES (zeroblob(17000000))";
    struct error err = {0};
    for (int i = 0; i < 4; i++) {
        assert_int_equal(store_begin(f->store, &err), 0);
        assert_int_equal(
            i ? db_run(f->store, SQL_ADD, NULL, &err) : db_run(f->store, SQL_MAKE, NULL, &err), 0);
        assert_int_equal(store_commit(f->store, &err), 0);
    }
    assert_in_range(f->store->log_bytes, 17000000, 2 * 17000000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_rows_kept_live_beside_other_statements, fixture_empty,
                                        fixture_close),
        cmocka_unit_test(test_code_and_error_agree_where_no_table_is),
        cmocka_unit_test_setup_teardown(test_a_query_left_early_is_reset, fixture_empty,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_unknown_values_are_null, fixture_empty, fixture_close),
        cmocka_unit_test_setup_teardown(test_none_found_says_what, fixture_empty, fixture_close),
        cmocka_unit_test_setup_teardown(test_a_broken_constraint_is_a_conflict, fixture_empty,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_what_nobody_waits_for_ends, fixture_empty,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_the_log_is_emptied_as_it_grows, fixture_empty,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_a_log_cut_before_it_was_noted_is_told, fixture_empty,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
