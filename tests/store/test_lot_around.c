/* What stands around a lot: its neighbours, the samples kept back of it, who may speak of it. */
#include "store/fixture.h"
#include "store/lot_around.h"
#include "store/retained.h"

/* Lots 11 to 15 of line 7, of which 12 and 13 were packed at once; 16 of line 8, 17 of a plant. */
static int open_lots(void **state)
{
    static const struct {
        int id;
        const char *line, *plant;
        int packed_ms;
    } LOTS[] = {{11, "7", "", 100}, {12, "7", "", 200}, {13, "7", "", 200},    {14, "7", "", 300},
                {15, "7", "", 400}, {16, "8", "", 250}, {17, "7", "Pell", 250}};
    int rc = fixture_with(state, FIXTURE_LOT "INSERT INTO quantity VALUES(90, 'mold_free_days'),"
                                             "(91, 'taste')");
    for (size_t i = 0; i < COUNT_OF(LOTS); i++) {
        char sql[320];
        snprintf(
            sql, sizeof sql,
            "INSERT INTO lot(id, lot, fold, product_id, line, shift, made_from_ms, made_to_ms,"
            " packed_from_ms, packed_to_ms, units, code_day, plant) VALUES(%d, 'L%d', 'L%d', 1,"
            " '%s', 'A', 0, 1, %d, %d, 100, 20, '%s')",
            LOTS[i].id, LOTS[i].id, LOTS[i].id, LOTS[i].line, LOTS[i].packed_ms,
            LOTS[i].packed_ms + 1, LOTS[i].plant);
        fixture_write(*state, sql);
    }
    return rc;
}

static int take_lot(void *arg, const struct lot_around_row *row)
{
    text_appendf(arg, "%s%s:%d ", row->before ? "-" : "+", row->lot, row->complaints);
    return 0;
}

static void a_lot_has_neighbours_on_its_plants_line(void **state)
{
    static const struct {
        int64_t lot;
        int most;
        const char *expected;
    } ROWS[] = {
        {13, 9, "-L11:0 -L12:2 +L14:0 +L15:0 "},
        {12, 9, "-L11:0 +L13:0 +L14:0 +L15:0 "},
        {13, 1, "-L12:2 +L14:0 "},
        {14, 2, "-L12:2 -L13:0 +L15:0 "},
        {11, 2, "+L12:2 +L13:0 "},
        {16, 9, ""},
        {17, 9, ""},
        {99, 9, ""},
    };
    struct fixture *f = *state;
    for (int n = 1; n <= 2; n++) {
        char uuid[40];
        struct complaint_placed placed;
        snprintf(uuid, sizeof uuid, "01990000-0000-7000-8000-%012d", n);
        const struct complaint_new c = fixture_complaint(uuid, 12);
        assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    }
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct text_buffer told = {0};
        text_append(&told, "");
        assert_int_equal(
            lot_around_line(f->store, ROWS[i].lot, ROWS[i].most, take_lot, &told, NULL), 0);
        if (strcmp(told.data, ROWS[i].expected) != 0)
            fail_msg("%d of lot %d: %s", ROWS[i].most, (int)ROWS[i].lot, told.data);
        text_buffer_free(&told);
    }
}

/* Of lot 11 by one weight, of 12 by the rest. */
static struct complaint_placed may_be(struct fixture *f, int n, enum lot_state state, double weight)
{
    char uuid[40];
    struct complaint_placed placed;
    snprintf(uuid, sizeof uuid, "01990000-0000-7000-8000-%012d", n);
    struct complaint_new c = fixture_complaint(uuid, 0);
    c.lots = (struct complaint_lots){
        .state = state, .count = 2, .lot = {{11, weight}, {12, 1 - weight}}};
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    return placed;
}

static int64_t who_may_speak_of(struct fixture *f, int64_t lot)
{
    int64_t count = -1;
    assert_int_equal(lot_around_may_be(f->store, lot, &count, NULL), 0);
    return count;
}

static void a_candidate_may_be_meant_while_its_lot_is_open(void **state)
{
    struct fixture *f = *state;
    may_be(f, 1, LOT_SEVERAL, 0.4);
    struct complaint_placed second = may_be(f, 2, LOT_SEVERAL, 0.6);
    may_be(f, 3, LOT_LIKELY, 0.95); /* it is 11 */
    assert_int_equal(who_may_speak_of(f, 11), 2);
    assert_int_equal(who_may_speak_of(f, 12), 2);
    assert_int_equal(who_may_speak_of(f, 13), 0);
    assert_int_equal(complaint_withdraw(f->store, second.complaint_id, 200, 200, NULL), 0);
    assert_int_equal(who_may_speak_of(f, 11), 1);
}

static int take_sample(void *arg, const struct retained_sample *row)
{
    text_appendf(arg, "%d:%g%s ", (int)row->lot_id, row->days, row->none_yet ? "+" : "");
    return 0;
}

static void samples_are(struct fixture *f, struct when_span packed, int limit, int blamed,
                        const char *expected)
{
    struct text_buffer told = {0};
    const struct retained_scope scope = {"mold_free_days", packed, limit};
    int is_blamed = -1;
    text_append(&told, "");
    assert_int_equal(retained_samples(f->store, &scope, take_sample, &told, &is_blamed, NULL), 0);
    if (strcmp(told.data, expected) != 0 || is_blamed != blamed)
        fail_msg("'%s' and %d, not '%s'", told.data, is_blamed, expected);
    text_buffer_free(&told);
}

#define READING(lot, point, at, days, note)                                                        \
    "INSERT INTO reading VALUES(" lot ", 90, " at ", '', '" point "', " days ", " note ");"
#define RESULT(lot, sample, days, note, ended, by)                                                 \
    "INSERT INTO measured(lot_id, quantity, lab, sample, said, value, unit, method, note, at_ms,"  \
    " case_id, by_name, logged_ms, ended_ms, ended_by) VALUES(" lot                                \
    ", 'mold_free_days', 'Millgate', '" sample "', 'x', " days ", 'd', '', '" note                 \
    "', 1, NULL, 'mira', 2, " ended ", " by ");"

static void samples_are_given_newest_lots_first(void **state)
{
    static const struct when_span ALL = {0, 1000};
    struct fixture *f = *state;
    static const char *const ROWS[] = {
        READING("11", "a", "500", "9", "NULL"),
        READING("12", "a", "500", "5", "'None yet'"),
        READING("12", "a", "600", "8", "'none yet: clean'"),
        READING("12", "b", "500", "7", "'none yet'"),
        READING("14", "a", "500", "11", "'dull'"),
        "INSERT INTO reading VALUES(14, 91, 500, '', '', 2, NULL)",
        RESULT("13", "1", "6", "none yet", "NULL", "NULL"),
        RESULT("15", "1", "4", "", "NULL", "NULL"),
        RESULT("15", "2", "3", "", "77", "'mira'"),
        RESULT("15", "3", "NULL", "", "NULL", "NULL"),
    };
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        fixture_write(f, ROWS[i]);
    samples_are(f, ALL, 99, 0, "14:11 12:7+ 12:8+ 11:9 15:4 13:6+ ");
    samples_are(f, ALL, 2, 0, "14:11 12:7+ ");
    samples_are(f, ALL, 5, 0, "14:11 12:7+ 12:8+ 11:9 15:4 ");
    samples_are(f, (struct when_span){100, 200}, 99, 0, "11:9 ");
    samples_are(f, (struct when_span){101, 301}, 99, 0, "14:11 12:7+ 12:8+ 13:6+ ");
    int64_t newest = 0;
    assert_int_equal(retained_newest(f->store, &newest, NULL), 0);
    assert_int_equal(newest, 400);
}

/* By what is most likely its complaint, one withdrawn aside, or by a verdict that stands. */
static void samples_of_a_lot_that_is_blamed_are_none(void **state)
{
    static const struct when_span ALL = {0, 1000};
    struct fixture *f = *state;
    fixture_write(f, READING("11", "a", "500", "9", "NULL") READING("12", "a", "500", "5", "NULL")
                         READING("13", "a", "500", "4", "NULL"));
    samples_are(f, ALL, 99, 0, "13:4 12:5 11:9 ");
    may_be(f, 1, LOT_SEVERAL, 0.51); /* 12 by less than half */
    samples_are(f, ALL, 99, 1, "13:4 12:5 ");
    struct complaint_placed even = may_be(f, 2, LOT_SEVERAL, 0.5);
    samples_are(f, ALL, 99, 2, "13:4 ");
    assert_int_equal(complaint_withdraw(f->store, even.complaint_id, 200, 200, NULL), 0);
    samples_are(f, ALL, 99, 1, "13:4 12:5 ");
    const struct complaint_new c = fixture_complaint("01990000-0000-7000-8000-000000000009", 13);
    struct complaint_placed placed;
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    samples_are(f, ALL, 99, 2, "12:5 ");
    fixture_write(f, "INSERT INTO verdict(case_id, cause, confirmed_by, by_name, at_ms, revision) "
                     "SELECT case_id, 'packed-hot', 'assay', 'mira', 300, 1 FROM complaint WHERE "
                     "lot_id = 13");
    assert_int_equal(complaint_withdraw(f->store, placed.complaint_id, 500, 500, NULL), 0);
    samples_are(f, ALL, 99, 2, "12:5 ");
    fixture_write(f, "UPDATE verdict SET reopened_ms = 501");
    samples_are(f, ALL, 99, 1, "13:4 12:5 ");
    assert_int_equal(complaint_withdraw(f->store, placed.complaint_id, WHEN_UNKNOWN_MS, 600, NULL),
                     0);
    samples_are(f, ALL, 99, 2, "12:5 ");
}

#define EACH(test) cmocka_unit_test_setup_teardown(test, open_lots, fixture_close)

int main(void)
{
    const struct CMUnitTest tests[] = {
        EACH(a_lot_has_neighbours_on_its_plants_line),
        EACH(a_candidate_may_be_meant_while_its_lot_is_open),
        EACH(samples_are_given_newest_lots_first),
        EACH(samples_of_a_lot_that_is_blamed_are_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
