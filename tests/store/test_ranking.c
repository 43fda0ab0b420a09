/* Rankings: what of them is kept, read again and compared, and those of older files. */
#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/ranking.h"
#include "store/ranking_pack.h"
#include "store/schema.h"
#include "store/verdict.h"
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct fixture {
    char dir[64];
    struct store *store;
};

static void open_store(struct fixture *f)
{
    struct error err = {0};
    if (store_open(f->dir, STORE_WRITE, &f->store, &err) || store_begin(f->store, &err))
        fail_msg("%s", err.text);
}

static int setup(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    strcpy(f->dir, "/tmp/oddloaf-ranking-XXXXXX");
    assert_non_null(state_folder(f->dir));
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    store_close(f->store);
    snprintf(command, sizeof command, "rm -rf %s", f->dir);
    int rc = system(command);
    free(f);
    return rc;
}

static const char A_CASE[] =
    "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs, revision)"
    " VALUES(1, 'mold', 0, 50, 2, 2, 0);";

static struct ranking_cause causes[] = {
    {"packed-hot", 0.7}, {"old-stock", 0.2}, {"not-known", 0.1}};
static struct ranking_item items[] = {
    {0, "core_at_pack_c", "47.5", 38, NAN, NAN, 0, 310},
    {0, "where", "cut-face,side", NAN, NAN, NAN, 0, -20},
    {1, "where", "cut-face,side", NAN, NAN, NAN, 0, 45},
    {2, "company.line", "0.7788", 1, 0, 0.28, 28, -55},
    {2, "note", "", NAN, NAN, NAN, 0, 7},
};

static struct ranking sample(void)
{
    return (struct ranking){.case_id = 1,
                            .lot_told = true,
                            .lot = "L1",
                            .moved_here = 1,
                            .as_of_ms = 50,
                            .complaints = 2,
                            .rules = "sha256:ab",
                            .causes = causes,
                            .cause_count = 3,
                            .items = items,
                            .item_count = 5};
}

static void what_was_saved_is_read(void **state)
{
    struct fixture *f = *state;
    struct ranking ranking = sample(), read;
    open_store(f);
    assert_int_equal(db_exec(f->store, A_CASE, NULL), 0);
    ranking.why = (char *)"a new case";
    assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
    assert_int_equal(ranking_get(f->store, 1, 1, &read, NULL), 0);
    assert_true(ranking_same(&ranking, &read));
    assert_true(read.kept);
    assert_string_equal(read.why, "a new case");
    assert_int_equal(read.item_count, 5);
    assert_int_equal(read.items[2].cause, 1); /* what the same fact says is read together */
    assert_string_equal(read.items[2].value, "cut-face,side");
    assert_int_equal(read.items[2].bits_hundredths, 45);
    assert_true(read.items[3].expected == 0.28);
    assert_int_equal(read.items[3].lots, 28);
    assert_true(isnan(read.items[4].target));
    ranking_clear(&read);
    assert_int_equal(ranking_get(f->store, 2, 0, &read, NULL), ERROR_NOT_FOUND);
    ranking.case_id = 2;
    assert_int_equal(ranking_save(f->store, &ranking, NULL), ERROR_NOT_FOUND);
}

static void rows_of_both_kinds_are_read_alike(void **state)
{
    (void)state;
    static const char OLD[] = "core_at_pack_c\t47.5\t38\t\t\t\t0:310\n"
                              "where\tcut-face,side\t\t\t\t\t0:-20\t1:45\n"
                              "company.line\t0.7788\t1\t0\t0.28\t28\t2:-55\nnote\t\t\t\t\t\t2:7\n"
                              "torn\n";
    static const char NEW[] = "#E\t47.5\tt38\t0:310\n#7\tcut-face,side\t0:-20\t1:45\n"
                              "#2\t0.7788\tt1\to0\te0.28\tn28\t2:-55\nnote\t\t2:7\n";
    struct ranking said = sample(), read = {.causes = causes, .cause_count = 3};
    char *packed = ranking_pack(&said);
    assert_string_equal(packed, NEW);
    ranking_pack_read(OLD, &read);
    char *again = ranking_pack(&read);
    assert_string_equal(again, NEW);
    free(read.items);
    free(packed);
    free(again);
}

static void nothing_new_is_the_same(void **state)
{
    struct ranking a = sample(), b = sample();
    struct ranking_cause other_causes[3];
    struct ranking_item other_items[5];
    (void)state;
    memcpy(other_causes, causes, sizeof causes);
    memcpy(other_items, items, sizeof items);
    b.causes = other_causes;
    b.items = other_items;
    assert_true(ranking_same(&a, &b));
    other_causes[1].probability += 1e-12; /* kept in millionths */
    assert_true(ranking_same(&a, &b));
    other_causes[1].probability += 1e-6;
    assert_false(ranking_same(&a, &b));
    other_causes[1].probability = 0.2;
    other_items[2].bits_hundredths++;
    assert_false(ranking_same(&a, &b));
    other_items[2].bits_hundredths--;
    b.complaints++;
    assert_false(ranking_same(&a, &b));
    b = sample();
    b.rules[8] = 'c';
    assert_false(ranking_same(&a, &b));
    b = sample();
    b.lot[0] = 'K';
    assert_false(ranking_same(&a, &b));
}

static void rankings_that_left_the_house_are_kept(void **state)
{
    struct fixture *f = *state;
    struct ranking read;
    int64_t rows = 0;
    open_store(f);
    assert_int_equal(db_exec(f->store, A_CASE, NULL), 0);
    for (int i = 0; i < 4; i++) { /* the second is mailed */
        struct ranking ranking = sample();
        ranking.why = i == 1 ? (char *)"a new case" : NULL;
        assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
        assert_int_equal(ranking.revision, i + 1);
    }
    assert_int_equal(ranking_get(f->store, 1, 3, &read, NULL), ERROR_NOT_FOUND);
    assert_int_equal(ranking_last_mailed(f->store, 1, &read, NULL), 0);
    assert_int_equal(read.revision, 2);
    ranking_clear(&read);
    assert_int_equal(ranking_get(f->store, 1, 0, &read, NULL), 0);
    assert_int_equal(read.revision, 4);
    ranking_clear(&read);
    /* the dropped ones leave no causes behind */
    assert_int_equal(db_number(f->store, "SELECT count(*) FROM ranking_cause", NULL, &rows, NULL),
                     0);
    assert_int_equal(rows, 6);
}

/* ---- a file of schema 7 ---- */

static void make_schema_7(struct fixture *f)
{
    char path[96];
    sqlite3 *db;
    size_t count;
    const struct migration *all = schema_migrations(&count);
    snprintf(path, sizeof path, "%s/oddloaf.db", f->dir);
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    for (size_t i = 0; i < count && all[i].number <= 7; i++)
        assert_int_equal(sqlite3_exec(db, all[i].sql, NULL, NULL, NULL), SQLITE_OK);
    snprintf(path, sizeof path, "PRAGMA user_version=7; PRAGMA application_id=%d",
             SCHEMA_APPLICATION_ID);
    assert_int_equal(sqlite3_exec(db, path, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, A_CASE, NULL, NULL, NULL), SQLITE_OK);
    const char *rows =
        "INSERT INTO ranking VALUES(1, 1, 40, 'sha256:a', 1, 1, '{\"lot\":\"L1\",\"lot_state\":"
        "\"exact\",\"moved_here\":[\"C7\"],\"ranked\":["
        "{\"cause\":\"packed-hot\",\"title\":\"Hot\",\"probability\":0.123456789012345,\"for\":["
        "{\"fact\":\"core_at_pack_c\",\"value\":47.5,\"target\":38.0,\"unit\":\"degC\",\"bits\":"
        "3.1,\"because\":\"x\"}],\"against\":[{\"fact\":\"odor\",\"value\":[\"sour\",\"musty\"],"
        "\"target\":null,\"bits\":-0.15,\"observed\":2,\"expected\":0.5,\"lots\":3}]},"
        "{\"cause\":\"not-known\",\"probability\":0.876543210987655,\"for\":[],\"against\":[]}]}'),"
        "(1, 2, 50, 'sha256:a', 0, 2, 'torn');"
        "INSERT INTO verdict(case_id, cause, confirmed_by, by_name, at_ms, revision)"
        " VALUES(1, 'packed-hot', 'assay', 'qa', 60, 1);"
        "INSERT INTO outbox(event, case_id, revision, message_id, payload, created_ms, state)"
        " VALUES('case', 1, 1, 'a', '{\"event\":\"case\",\"why\":\"a new case\"}', 0, 'sent'),"
        "('case', 1, 2, 'b', '{\"why\":\"complaints doubled\"}', 0, 'new'),"
        "('urgent', 1, 0, 'c', '{\"event\":\"urgent\"}', 0, 'sent');";
    if (sqlite3_exec(db, rows, NULL, NULL, NULL))
        fail_msg("%s", sqlite3_errmsg(db));
    sqlite3_close(db);
}

static int64_t one_number(struct fixture *f, const char *sql)
{
    int64_t n = -1;
    assert_int_equal(db_number(f->store, sql, NULL, &n, NULL), 0);
    return n;
}

static int see_verdict(void *arg, const struct verdict_row *row)
{
    int *seen = arg;
    (*seen)++;
    assert_int_equal(row->said_count, 2);
    assert_string_equal(row->said[0].cause, "packed-hot");
    assert_true(row->said[1].probability == 0.876543);
    return 0;
}

static void an_older_file_is_moved(void **state)
{
    if (state_on_server()) /* which never had a schema as old */
        skip();
    struct fixture *f = *state;
    struct ranking read;
    int seen = 0;
    make_schema_7(f);
    open_store(f);
    assert_int_equal(ranking_get(f->store, 1, 1, &read, NULL), 0);
    assert_string_equal(read.why, "a new case");
    assert_true(read.lot_told);
    assert_string_equal(read.lot, "L1");
    assert_int_equal(read.moved_here, 1);
    assert_int_equal(read.cause_count, 2);
    assert_true(read.causes[0].probability == 0.123457);
    assert_int_equal(read.item_count, 2);
    assert_string_equal(read.items[0].value, "47.5");
    assert_true(read.items[0].target == 38);
    assert_int_equal(read.items[0].bits_hundredths, 310);
    assert_string_equal(read.items[1].value, "sour,musty");
    assert_int_equal(read.items[1].bits_hundredths, -15);
    assert_true(read.items[1].expected == 0.5);
    ranking_clear(&read);
    assert_int_equal(ranking_get(f->store, 1, 2, &read, NULL), 0); /* unreadable: no causes */
    assert_int_equal(read.cause_count, 0);
    assert_string_equal(read.why, "complaints doubled");
    ranking_clear(&read);
    assert_int_equal(
        verdict_between(f->store, (struct when_span){0, 100}, see_verdict, &seen, NULL), 0);
    assert_int_equal(seen, 1);
    /* what has left is told by its ranking; what waits stays whole, as does what was urgent */
    assert_int_equal(one_number(f, "SELECT count(*) FROM outbox_text"), 2);
    assert_int_equal(one_number(f, "SELECT count(*) FROM outbox o JOIN outbox_text x ON"
                                   " x.mail_id = o.id WHERE o.message_id = 'a'"),
                     0);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        TEST(what_was_saved_is_read),  TEST(rows_of_both_kinds_are_read_alike),
        TEST(nothing_new_is_the_same), TEST(rankings_that_left_the_house_are_kept),
        TEST(an_older_file_is_moved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
