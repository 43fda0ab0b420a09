/* What no row may say: words, states and weights that mean nothing, and rows that name others that
 * are not there. */
#include "fixture.h"
#include "store/schema.h"

static int setup(void **state)
{
    fixture_empty(state);
    fixture_write(
        *state, FIXTURE_LOT
        "INSERT INTO complaint_case(id, symptom, lot_id, opened_ms, as_of_ms, complaints,"
        " packs) VALUES(1, 'mold', 1, 0, 0, 1, 1);"
        "INSERT INTO complaint(id, uuid, received_ms, logged_ms, channel, symptom, case_id,"
        " lot_id, body) VALUES(1, 'u1', 0, 0, 'phone', 'mold', 1, 1, '{}');"
        "INSERT INTO outbox(id, event, case_id, message_id, created_ms)"
        " VALUES(1, 'case', 1, 'm1', 0)");
    return 0;
}

static const struct {
    const char *sound, *refused;
} ROWS[] = {
    {"UPDATE complaint_case SET state = 'settled'", "UPDATE complaint_case SET state = 'closed'"},
    {"UPDATE complaint_case SET top_probability = 1",
     "UPDATE complaint_case SET top_probability = 1.5"},
    {"UPDATE complaint_case SET moved_to = 1", "UPDATE complaint_case SET moved_to = 9"},
    {"UPDATE complaint_case SET complaints = 0", "UPDATE complaint_case SET complaints = -1"},
    {"INSERT INTO complaint_lot VALUES(1, 1, 0.5)", "UPDATE complaint_lot SET weight = 2"},
    {"INSERT INTO verdict VALUES(1, 1, 'packed-hot', 'assay', NULL, 'qa', 0, 0, NULL)",
     "UPDATE verdict SET confirmed_by = 'rumour'"},
    {"INSERT INTO hold(lot_id, code, fold, reason, by_name, at_ms)"
     " VALUES(1, 'L1', 'L1', 'mold', 'qa', 0)",
     "UPDATE hold SET disposition = 'wait', ended_ms = 1"},
    {"UPDATE hold SET disposition = 'rework', ended_ms = 1", "UPDATE hold SET ended_ms = NULL"},
    {"UPDATE hold SET case_id = 1", "UPDATE hold SET case_id = 9"},
    {"INSERT INTO measured(lot_id, quantity, lab, sample, said, at_ms, by_name, logged_ms)"
     " VALUES(1, 'crumb_ph', 'N', '1', '5.3', 0, 'qa', 0)",
     "UPDATE measured SET ended_ms = 1"},
    {"INSERT INTO attached_file VALUES(1, 'a', x'00')",
     "INSERT INTO attached(case_id, complaint_id, file_id, sha256, name, type, bytes, by_name,"
     " by_user, at_ms) VALUES(1, 1, 1, 'a', 'n', 't', 1, 'qa', 'qa', 0)"},
    {"INSERT INTO attached(case_id, file_id, sha256, name, type, bytes, by_name, by_user, at_ms)"
     " VALUES(1, 1, 'a', 'n', 't', 1, 'qa', 'qa', 0)",
     "UPDATE attached SET file_id = NULL"},
    {"UPDATE attached SET removed = 1", "UPDATE attached SET file_id = 9"},
    {"UPDATE attached SET removed = 2", "UPDATE attached SET case_id = 9"},
    {"UPDATE measured SET case_id = 1, replaces = NULL", "UPDATE measured SET case_id = 9"},
    {"UPDATE measured SET lot_id = 1", "UPDATE measured SET lot_id = 9"},
    {"UPDATE measured SET unit = 'pH'", "UPDATE measured SET replaces = 9"},
    {"INSERT INTO work VALUES('rank', 1, 0, 0, 1)", "INSERT INTO work VALUES('rest', 1, 0, 0, 1)"},
    {"INSERT INTO work VALUES('since', 1, 0, 0, 1)", "INSERT INTO work VALUES('ever', 1, 0, 0, 1)"},
    {"UPDATE outbox SET state = 'open'", "UPDATE outbox SET state = 'lost'"},
    {"UPDATE outbox SET case_id = NULL", "UPDATE outbox SET case_id = 9"},
    {"INSERT INTO outbox_delivery VALUES(1, 'qa', 1, 'waiting', 0, 0, 0, NULL, NULL)",
     "UPDATE outbox_delivery SET state = 'lost'"},
    {"UPDATE outbox_delivery SET urgent = 0", "UPDATE outbox_delivery SET urgent = 2"},
    {"INSERT INTO erased VALUES(1, 'u1', 0, 'request')", "UPDATE erased SET basis = 'whim'"},
    {"INSERT INTO load_file VALUES('a', 'lots', 'f', 'p', 0, 0, 0, 0, 'done', 0, 0)",
     "UPDATE load_file SET state = 'half'"},
    {"INSERT INTO company_count VALUES('mold', 0, 1, 0, 1)", "UPDATE company_count SET n = -1"},
    {"UPDATE company_count SET n = 0", "UPDATE company_count SET lot_id = 9"},
    {"INSERT INTO contact VALUES(1, 1, '', '{}', 0)", "UPDATE contact SET complaint_id = 9"},
    {"INSERT INTO case_follow VALUES(1, 3, NULL, 0, 'mira', 10, 5)",
     "UPDATE case_follow SET by_rule = 4"},
    {"UPDATE case_follow SET set_to = 0", "UPDATE case_follow SET set_to = 4"},
    {"UPDATE case_follow SET may_harm = 1", "UPDATE case_follow SET may_harm = 2"},
    {"UPDATE case_follow SET due_day = NULL", "UPDATE case_follow SET case_id = 9"},
    {"INSERT INTO follow_entry VALUES(1, 1, 0, 'noted', '', '', '', 'n', 'mira', 'm')",
     "UPDATE follow_entry SET what = 'thought'"},
    {"UPDATE follow_entry SET what = 'answered'", "UPDATE follow_entry SET case_id = 9"},
    {"INSERT INTO call_back VALUES(1, 'u1', 10, 1, NULL)", "UPDATE call_back SET asked_id = 9"},
    {"UPDATE call_back SET answered_id = 1", "UPDATE call_back SET answered_id = 9"},
    {"INSERT INTO contact_key VALUES('ann', 1, 0)", "INSERT INTO contact_key VALUES('ann', 9, 0)"},
    {"UPDATE contact_key SET of = 2", "UPDATE contact_key SET of = 3"},
    {"UPDATE work SET kind = 'told' WHERE kind = 'since'",
     "UPDATE work SET kind = '' WHERE kind = 'told'"},
};

static void test_rows_that_mean_nothing_are_refused(void **state)
{
    struct fixture *f = *state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct error err = {0};
        if (db_exec(f->store, ROWS[i].sound, &err))
            fail_msg("%s: %s", ROWS[i].sound, err.text);
        if (db_exec(f->store, ROWS[i].refused, &err) != ERROR_CONFLICT)
            fail_msg("taken: %s", ROWS[i].refused);
    }
}

/* Asked of every complaint of a week, and of every report of a day's lots: a row each would be read
 * from wherever in the file it lies. */
static void test_no_row_is_read_for_what_many_are_asked(void **state)
{
    static const char *const ASKED[] = {
        "SELECT logged_ms - received_ms FROM complaint WHERE withdrawn_ms IS NULL"
        " AND received_ms >= 1 AND received_ms < 2",
        "SELECT count(*) FROM complaint WHERE received_ms >= 1 AND received_ms < 2"
        " AND symptom = 'other' AND withdrawn_ms IS NULL",
        "SELECT c.lot_id, c.received_ms, c.store, c.route FROM complaint c WHERE c.lot_id = 1"
        " AND c.symptom = 'mold' AND c.received_ms = 1 AND c.withdrawn_ms IS NULL"};
    struct fixture *f = *state;
    for (size_t i = 0; i < sizeof ASKED / sizeof ASKED[0]; i++) {
        struct error err = {0};
        char sql[512];
        snprintf(sql, sizeof sql, "EXPLAIN QUERY PLAN %s", ASKED[i]);
        struct db_query q = db_query(f->store, sql, NULL, &err);
        assert_true(db_next(&q));
        if (!strstr(db_text(&q, 3), "COVERING INDEX"))
            fail_msg("%s: %s", db_text(&q, 3), ASKED[i]);
        assert_int_equal(db_end(&q, 0), 0);
    }
}

/* What SQLite opens beside the tables it keeps costs more than the row. */
static void test_no_table_is_filled_to_write_a_row_of_many(void **state)
{
    static const char *const WRITTEN[] = {
        "INSERT INTO work(kind, subject_id, due_ms) VALUES(?1, ?2, ?3)"
        " ON CONFLICT(kind, subject_id) DO UPDATE SET seq = work.seq + 1",
        "INSERT INTO contact_key(key, contact_id, of) VALUES(?1, ?2, ?3) ON CONFLICT DO NOTHING"};
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    for (size_t i = 0; i < sizeof WRITTEN / sizeof WRITTEN[0]; i++) {
        struct error err = {0};
        char sql[512];
        snprintf(sql, sizeof sql, "EXPLAIN %s", WRITTEN[i]);
        struct db_query q = db_query(f->store, sql, NULL, &err);
        while (db_next(&q))
            if (strcmp(db_text(&q, 1), "OpenEphemeral") == 0)
                fail_msg("a table beside: %s", WRITTEN[i]);
        assert_true(q.rows > 0);
        assert_int_equal(db_end(&q, 0), 0);
    }
    assert_int_equal(store_commit(f->store, NULL), 0);
}

static void test_rows_that_name_what_is_not_there_are_counted(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(schema_checks_rows(f->store, &err), 0);
    assert_int_equal(db_exec(f->store,
                             "PRAGMA foreign_keys=OFF; UPDATE complaint_case SET lot_id = 9;"
                             "INSERT INTO contact_key VALUES('ann', 9, 0), ('bee', 9, 0)",
                             &err),
                     0);
    assert_int_equal(schema_checks_rows(f->store, &err), ERROR_INTERNAL);
    assert_string_equal(err.text, "3 rows name others that are not there");
}

static void test_a_contact_takes_its_keys_along(void **state)
{
    struct fixture *f = *state;
    static const char SQL[] = "SELECT count(*) FROM contact_key";
    struct error err = {0};
    int64_t keys = -1;
    assert_int_equal(db_exec(f->store,
                             "INSERT INTO contact VALUES(1, 1, '', '{}', 0);"
                             "INSERT INTO contact_key VALUES('ann', 1, 0), ('5550100', 1, 1);"
                             "DELETE FROM contact",
                             &err),
                     0);
    assert_int_equal(db_number(f->store, SQL, NULL, &keys, &err), 0);
    assert_int_equal(keys, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_rows_that_mean_nothing_are_refused, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_no_row_is_read_for_what_many_are_asked, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_no_table_is_filled_to_write_a_row_of_many, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_rows_that_name_what_is_not_there_are_counted, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_a_contact_takes_its_keys_along, setup, fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
