/* What the plant wrote of a complaint, and what is put in its place. */
#include "fixture.h"
#include "store/noted.h"

#define RESULT(id, lot, quantity, lab, sample, ended)                                              \
    "(" id "," lot ",'" quantity "','" lab "','" sample "','5.3 pH',0,'qa',0," ended ")"

static int setup(void **state)
{
    fixture_empty(state);
    fixture_write(
        *state, FIXTURE_LOT
        "INSERT INTO lot(id, lot, fold, product_id, line, made_from_ms, made_to_ms, packed_from_ms,"
        " packed_to_ms, units, code_day) VALUES(2, 'L2', 'L2', 1, '1', 0, 1, 2, 3, 1000, 10);"
        "INSERT INTO complaint_case(id, symptom, lot_id, opened_ms, as_of_ms, complaints,"
        " packs) VALUES(1, 'mold', 1, 0, 0, 1, 1);"
        "INSERT INTO hold(id, lot_id, code, fold, reason, by_name, at_ms, disposition, ended_ms,"
        " end_reason) VALUES(1, 1, 'L1', 'L1', 'was wet', 'qa', 0, 'rework', 1, 'was dry'),"
        " (2, 2, 'L2', 'L2', 'was wet', 'qa', 0, NULL, NULL, NULL);"
        "INSERT INTO verdict(id, case_id, cause, confirmed_by, note, by_name, at_ms, revision) "
        "VALUES"
        "(1, 1, 'packed-hot', 'assay', 'was so', 'qa', 0, 0);"
        "INSERT INTO measured(id, lot_id, quantity, lab, sample, said, at_ms, by_name, logged_ms,"
        " ended_ms, ended_by) VALUES" RESULT("1", "1", "crumb_ph", "Ann", "7", "NULL,NULL") "," RESULT(
            "2", "1", "crumb_ph", "Northgate", "7",
            "NULL,NULL") "," RESULT("3", "1", "yeasts", "Ann", "7",
                                    "NULL,NULL") "," RESULT("4", "2", "crumb_ph", "Ann", "7",
                                                            "NULL,NULL") "," RESULT("5", "1",
                                                                                    "crumb_ph",
                                                                                    "Southgate",
                                                                                    "7", "9,'qa'"));
    return 0;
}

/* `sql` is of static storage (store/db.h). */
static void says_of(struct fixture *f, const char *sql, int64_t id, const char *wanted)
{
    char is[128];
    struct error err = {0};
    struct db_query q = db_query(f->store, sql, id ? DB(DB_INT(id)) : NULL, &err);
    if (!db_next(&q))
        fail_msg("%s: nothing %s", sql, err.text);
    snprintf(is, sizeof is, "%s", db_text(&q, 0));
    assert_int_equal(db_end(&q, 0), 0);
    assert_string_equal(is, wanted);
}

static void says(struct fixture *f, const char *sql, const char *wanted)
{
    says_of(f, sql, 0, wanted);
}

static void rewrite(struct fixture *f, enum noted_of of, int64_t id, const char *text,
                    const char *end)
{
    struct error err = {0};
    const struct noted_row row = {of, id, text, end};
    if (noted_rewrite(f->store, &row, &err))
        fail_msg("%s", err.text);
}

static void what_has_no_end_gets_none(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    rewrite(f, NOTED_HOLD, 1, "wet", "dry");
    rewrite(f, NOTED_HOLD, 2, "wet", "dry");
    rewrite(f, NOTED_VERDICT, 1, "so", "");
    rewrite(f, NOTED_METHOD, 1, "5.3", "probe");
    says(f, "SELECT reason || ' ' || end_reason FROM hold WHERE id = 1", "wet dry");
    says(f, "SELECT reason || ' ' || (end_reason IS NULL) FROM hold WHERE id = 2", "wet 1");
    says(f, "SELECT note FROM verdict", "so");
    says(f, "SELECT said || ' ' || method FROM measured WHERE id = 1", "5.3 probe");
    says(f, "SELECT count(*) || ' ' || sum(method = '') FROM measured WHERE said = '5.3 pH'",
         "4 4");
    store_rollback(f->store);
}

/* Of the same lot and quantity two samples that would be one are told apart; others stay. */
static void two_results_that_would_be_one_stay_two(void **state)
{
    struct fixture *f = *state;
    static const struct {
        const char *lab, *sample, *wanted;
        int64_t id;
    } ROWS[] = {
        {"Northgate", "7", "Northgate 7 1", 1}, /* as 2 has it */
        {"Northgate", "8", "Northgate 8", 1},
        {"Ann", "7", "Ann 7", 1},             /* its own; others of that name are elsewhere */
        {"Southgate", "7", "Southgate 7", 1}, /* that one is taken back */
        {"Northgate", "7", "Northgate 7", 3}, /* another quantity */
        {"Northgate", "7", "Northgate 7", 4}, /* another lot */
    };
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        assert_int_equal(store_begin(f->store, NULL), 0);
        rewrite(f, NOTED_LAB, ROWS[i].id, ROWS[i].lab, ROWS[i].sample);
        says_of(f, "SELECT lab || ' ' || sample FROM measured WHERE id = ?1", ROWS[i].id,
                ROWS[i].wanted);
        says(f,
             "SELECT count(*) || '' FROM measured WHERE lab = 'Northgate' AND sample = '7' AND id "
             "= 2",
             "1");
        store_rollback(f->store);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_has_no_end_gets_none, setup, fixture_close),
        cmocka_unit_test_setup_teardown(two_results_that_would_be_one_stay_two, setup,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
