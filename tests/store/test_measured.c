/* Results of laboratories: which stands, what becomes of those before. */
#include "store/fixture.h"
#include "store/measured.h"
#include <math.h>

struct told {
    int count;
    double value;
    char said[32], method[32], note[32];
    int64_t at_ms, case_id;
};

static int take(void *arg, const struct measured_row *row)
{
    struct told *told = arg;
    told->count++;
    told->value = row->value;
    told->at_ms = row->at_ms;
    told->case_id = row->case_id;
    text_clip(row->said, told->said, sizeof told->said);
    text_clip(row->method, told->method, sizeof told->method);
    text_clip(row->note, told->note, sizeof told->note);
    return 0;
}

static struct measured_row result(double value, const char *said)
{
    return (struct measured_row){.lot_id = 1,
                                 .quantity = "crumb_ph",
                                 .lab = "Northgate",
                                 .sample = "26-1",
                                 .said = said,
                                 .value = value,
                                 .unit = "pH",
                                 .word = "",
                                 .at_ms = WHEN_UNKNOWN_MS,
                                 .by_name = "mira",
                                 .user = "mira",
                                 .logged_ms = 1000};
}

static enum measured_outcome put(struct fixture *f, const struct measured_row *row)
{
    enum measured_outcome outcome = MEASURED_SAME;
    struct error err = {0};
    if (measured_put(f->store, row, &outcome, &err))
        fail_msg("%s", err.text);
    return outcome;
}

static struct told stands(struct fixture *f, int64_t lot_id)
{
    struct told told = {0};
    assert_int_equal(measured_of_lot(f->store, lot_id, take, &told, NULL), 0);
    return told;
}

static int64_t rows(struct fixture *f)
{
    static const char SQL[] = "SELECT count(*) FROM measured";
    int64_t count = 0;
    assert_int_equal(db_number(f->store, SQL, NULL, &count, NULL), 0);
    return count;
}

static void the_same_again_changes_nothing(void **state)
{
    struct fixture *f = *state;
    struct measured_row row = result(5.3, "5.3");
    row.method = "probe";
    row.at_ms = 500;
    assert_int_equal(put(f, &row), MEASURED_NEW);
    assert_int_equal(put(f, &row), MEASURED_SAME);
    row = result(5.3, "5.30"); /* without what is not said again */
    row.logged_ms = 2000;
    assert_int_equal(put(f, &row), MEASURED_SAME);
    struct told told = stands(f, 1);
    assert_int_equal(told.count, 1);
    assert_int_equal(told.at_ms, 500);
    assert_string_equal(told.method, "probe");
    assert_int_equal(rows(f), 1);
    assert_int_equal(stands(f, 2).count, 0);
}

static void another_takes_its_place(void **state)
{
    struct fixture *f = *state;
    struct measured_row row = result(5.3, "5.3");
    row.note = "as received";
    assert_int_equal(put(f, &row), MEASURED_NEW);
    row = result(6.1, "6.1");
    row.logged_ms = 2000;
    assert_int_equal(put(f, &row), MEASURED_CORRECTED);
    struct told told = stands(f, 1);
    assert_int_equal(told.count, 1);
    assert_true(told.value == 6.1);
    assert_string_equal(told.note, "as received");
    assert_int_equal(told.at_ms, 1000); /* of the first: no other was told */
    assert_int_equal(rows(f), 2);
}

static void another_sample_or_laboratory_stands_beside(void **state)
{
    struct fixture *f = *state;
    struct measured_row row = result(5.3, "5.3");
    assert_int_equal(put(f, &row), MEASURED_NEW);
    row.sample = "26-2";
    assert_int_equal(put(f, &row), MEASURED_NEW);
    row.lab = "Southgate";
    assert_int_equal(put(f, &row), MEASURED_NEW);
    row.quantity = "crumb_aw";
    assert_int_equal(put(f, &row), MEASURED_NEW);
    assert_int_equal(stands(f, 1).count, 4);
}

static void words_are_compared_as_they_were_written(void **state)
{
    struct fixture *f = *state;
    struct measured_row row = result(NAN, "<10");
    row.quantity = "yeasts";
    row.unit = "";
    assert_int_equal(put(f, &row), MEASURED_NEW);
    assert_int_equal(put(f, &row), MEASURED_SAME);
    row.said = "<100";
    assert_int_equal(put(f, &row), MEASURED_CORRECTED);
}

static void what_is_taken_back_stands_no_more(void **state)
{
    struct fixture *f = *state;
    struct measured_row row = result(5.3, "5.3");
    struct error err = {0};
    row.reason = "of another lot";
    assert_int_equal(measured_take_back(f->store, &row, &err), ERROR_NOT_FOUND);
    assert_non_null(strstr(err.text, "no result of crumb_ph by Northgate, sample 26-1"));
    put(f, &row);
    assert_int_equal(measured_take_back(f->store, &row, NULL), 0);
    assert_int_equal(stands(f, 1).count, 0);
    assert_int_equal(rows(f), 1);
    assert_int_equal(put(f, &row), MEASURED_NEW);
    assert_int_equal(stands(f, 1).count, 1);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, fixture_open, fixture_close)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(the_same_again_changes_nothing), TEST(another_takes_its_place),
        TEST(another_sample_or_laboratory_stands_beside),
        TEST(words_are_compared_as_they_were_written), TEST(what_is_taken_back_stands_no_more)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
