/* Holds side by side on one lot, on codes that no record bears, and what is refused of them. */
#include "base/words.h"
#include "fixture.h"
#include "store/hold.h"
#include "store/seen.h"

static int setup(void **state)
{
    return fixture_with(
        state, FIXTURE_LOT
        "INSERT INTO complaint_case(id, symptom, lot_id, opened_ms, as_of_ms, complaints,"
        " packs, state, moved_to) VALUES(1, 'mold', 1, 0, 0, 1, 1, 'open', NULL),"
        " (2, 'mold', NULL, 0, 0, 0, 0, 'moved', 1)");
}

static const struct hold_of LOT = {1, "L1"}, CODE = {0, "l-2"};

static bool hold(struct fixture *f, const struct hold_of *of, const char *reason, const char *by,
                 int64_t case_id)
{
    bool stood = false;
    const struct hold_entry entry = {reason, by, "u", case_id, 100, .plant = ""};
    assert_int_equal(hold_add(f->store, of, &entry, &stood, NULL), 0);
    return stood;
}

static int end(struct fixture *f, const struct hold_of *of, struct hold_end which,
               struct error *err)
{
    which.disposition = which.disposition ? which.disposition : "release";
    which.reason = "seen";
    which.by_name = "qa";
    which.user = "u";
    which.at_ms = 200;
    return hold_end(f->store, of, &which, err);
}

static int append(void *arg, const struct hold_row *row)
{
    struct text_buffer *out = arg;
    text_appendf(out, "%s/%s/%s/C%lld ", row->lot, row->reason, row->by_name,
                 (long long)row->case_id);
    return 0;
}

static void assert_standing(struct fixture *f, int64_t at_ms, const char *expected)
{
    struct text_buffer out = {0};
    text_append(&out, "");
    assert_int_equal(hold_each_standing(f->store, at_ms, append, &out, NULL), 0);
    assert_string_equal(out.data, expected);
    text_buffer_free(&out);
}

static void test_several_stand_until_each_has_ended(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_false(hold(f, &LOT, "glass", "jo", 0));
    assert_true(hold(f, &LOT, "glass", "jo", 0));
    assert_false(hold(f, &LOT, "glass", "mira", 0));
    assert_false(hold(f, &LOT, "wet", "jo", 1));
    assert_int_equal(end(f, &LOT, (struct hold_end){0}, &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "3 holds stand on lot L1: H1 (glass, jo), H2"));
    assert_int_equal(end(f, &LOT, (struct hold_end){.id = 1}, NULL), 0);
    assert_true(hold_stands(f->store, 1));
    assert_standing(f, 300, "L1/glass/mira/C0 L1/wet/jo/C1 ");
    assert_standing(f, 150, "L1/glass/jo/C0 L1/glass/mira/C0 L1/wet/jo/C1 ");
    assert_standing(f, 50, "");
    assert_int_equal(end(f, &LOT, (struct hold_end){.case_id = 1}, NULL), 0);
    assert_int_equal(end(f, &LOT, (struct hold_end){0}, NULL), 0);
    assert_false(hold_stands(f->store, 1));
}

/* The file's rows know the same words as the table. */
static void test_every_disposition_ends_a_hold(void **state)
{
    struct fixture *f = *state;
    const struct hold_entry entry = {"glass", "jo", "u", 0, 100, .still_about = true};
    char words[] = WORDS_DISPOSITIONS;
    bool stood = false;
    int ended = 0;
    for (char *word = strtok(words, " "); word; word = strtok(NULL, " ")) {
        assert_int_equal(hold_add(f->store, &LOT, &entry, &stood, NULL), 0);
        assert_int_equal(end(f, &LOT, (struct hold_end){.disposition = word}, NULL), 0);
        ended++;
    }
    assert_int_equal(ended, 4);
    assert_int_equal(hold_add(f->store, &LOT, &entry, &stood, NULL), 0);
    assert_int_not_equal(end(f, &LOT, (struct hold_end){.disposition = "eat"}, NULL), 0);
}

static void test_all_end_at_once(void **state)
{
    struct fixture *f = *state;
    hold(f, &LOT, "glass", "jo", 0);
    hold(f, &LOT, "wet", "jo", 0);
    hold(f, &CODE, "wet", "jo", 0);
    assert_int_equal(end(f, &LOT, (struct hold_end){.all = true}, NULL), 0);
    assert_standing(f, 300, "l-2/wet/jo/C0 ");
}

static void test_what_is_not_so_is_refused(void **state)
{
    struct fixture *f = *state;
    struct error never = {0}, unknown = {0}, other = {0}, gone = {0};
    bool stood = false;
    const struct hold_entry entry = {"glass", "jo", "u", 0, 300, .still_about = false};
    const struct hold_entry about = {"glass", "jo", "u", 0, 300, .still_about = true};
    assert_int_equal(end(f, &LOT, (struct hold_end){0}, &never), ERROR_CONFLICT);
    assert_non_null(strstr(never.text, "never was"));
    assert_int_equal(end(f, &CODE, (struct hold_end){0}, &unknown), ERROR_NOT_FOUND);
    hold(f, &LOT, "wet", "jo", 0);
    assert_int_equal(end(f, &LOT, (struct hold_end){.case_id = 1}, &other), ERROR_CONFLICT);
    assert_non_null(strstr(other.text, "does not stand"));
    assert_int_equal(end(f, &LOT, (struct hold_end){.disposition = "rework"}, NULL), 0);
    assert_int_equal(hold_add(f->store, &LOT, &entry, &stood, &gone), ERROR_CONFLICT);
    assert_non_null(strstr(gone.text, "lot L1 was reworked (by qa: seen)"));
    assert_int_equal(hold_add(f->store, &LOT, &about, &stood, NULL), 0);
    assert_true(hold_stands(f->store, 1));
}

static void test_what_is_gone_is_told(void **state)
{
    struct fixture *f = *state;
    struct text_buffer out = {0};
    hold(f, &LOT, "wet", "jo", 0);
    assert_int_equal(hold_gone(f->store, &LOT, &out, NULL), 0);
    assert_int_equal(out.length, 0);
    assert_int_equal(end(f, &LOT, (struct hold_end){.disposition = "destroy"}, NULL), 0);
    assert_int_equal(hold_gone(f->store, &LOT, &out, NULL), 0);
    assert_string_equal(out.data, "destroyed (by qa: seen)");
    text_buffer_free(&out);
}

#define SQL_TWO                                                                                    \
    "INSERT INTO lot SELECT 2, 'L 2', 'L2', plant, product_id, line, shift, made_from_ms,"         \
    " made_to_ms, packed_from_ms, packed_to_ms, units, code_day FROM lot WHERE id = 1"

static void load_two(struct fixture *f, const char *plant)
{
    char sql[80];
    snprintf(sql, sizeof sql, "UPDATE lot SET plant = '%s' WHERE id = 2", plant);
    assert_int_equal(db_exec(f->store, SQL_TWO, NULL), 0);
    assert_int_equal(db_exec(f->store, sql, NULL), 0);
    assert_int_equal(hold_take_code(f->store, 2, NULL), 0);
}

static void test_a_code_becomes_the_lots(void **state)
{
    struct fixture *f = *state;
    hold(f, &CODE, "glass", "jo", 0);
    assert_true(hold(f, &CODE, "glass", "jo", 0));
    load_two(f, "");
    assert_true(hold_stands(f->store, 2));
    assert_standing(f, 300, "L 2/glass/jo/C0 ");
}

/* ---- whose they are ---- */

static void see(struct fixture *f, const char *plant)
{
    const struct seen_plants seen = {1, {plant}, "u"};
    seen_set(f->store, plant ? &seen : NULL);
}

static void hold_as(struct fixture *f, const char *plant, const char *reason)
{
    bool stood = true;
    const struct hold_entry entry = {reason, "jo", "u", 0, 100, .plant = plant};
    see(f, plant);
    assert_int_equal(hold_add(f->store, &CODE, &entry, &stood, NULL), 0);
    assert_false(stood);
}

static int count(void *arg, const struct hold_row *row)
{
    (void)row;
    ++*(int *)arg;
    return 0;
}

static int held_of_code(struct fixture *f)
{
    int rows = 0;
    assert_int_equal(hold_each_of(f->store, &CODE, count, &rows, NULL), 0);
    return rows;
}

/* Of a code that no lot bears, people of one plant see and end what their own hold. */
static void test_a_code_held_in_two_plants_is_held_twice(void **state)
{
    struct fixture *f = *state;
    struct error none = {0};
    hold_as(f, "Larkfen", "glass");
    hold_as(f, "Quarrhill", "glass");
    hold_as(f, NULL, "wet");
    assert_int_equal(held_of_code(f), 3);
    assert_standing(f, 300, "l-2/glass/jo/C0 l-2/glass/jo/C0 l-2/wet/jo/C0 ");
    see(f, "Quarrhill");
    assert_int_equal(held_of_code(f), 1);
    assert_standing(f, 300, "l-2/glass/jo/C0 ");
    assert_int_equal(end(f, &CODE, (struct hold_end){.id = 1}, NULL), ERROR_CONFLICT);
    assert_int_equal(end(f, &CODE, (struct hold_end){.all = true}, NULL), 0);
    assert_standing(f, 300, "");
    see(f, "Third");
    assert_int_equal(held_of_code(f), 0);
    assert_int_equal(end(f, &CODE, (struct hold_end){.all = true}, &none), ERROR_NOT_FOUND);
    assert_null(strstr(none.text, "jo"));
    see(f, "Larkfen");
    assert_standing(f, 300, "l-2/glass/jo/C0 ");
    see(f, NULL);
    assert_standing(f, 300, "l-2/glass/jo/C0 l-2/wet/jo/C0 ");
    assert_int_equal(end(f, &CODE, (struct hold_end){.all = true}, NULL), 0);
    assert_standing(f, 300, "");
}

/* Loaded, it is the plant's that packed it, whoever held its code. */
static void test_a_loaded_lot_takes_the_holds_of_every_plant(void **state)
{
    struct fixture *f = *state;
    hold_as(f, "Larkfen", "glass");
    hold_as(f, "Quarrhill", "wet");
    see(f, NULL);
    load_two(f, "Quarrhill");
    see(f, "Larkfen");
    assert_standing(f, 300, "");
    see(f, "Quarrhill");
    assert_standing(f, 300, "L 2/glass/jo/C0 L 2/wet/jo/C0 ");
}

/* A lot loaded between the question whose code it is and the hold, or before such holds were taken
 * for its own: they are the lot's, and end with it. */
static void test_a_hold_is_not_lost_beside_its_lot(void **state)
{
    struct fixture *f = *state;
    static const struct hold_of TWO = {2, "L 2"};
    hold(f, &CODE, "glass", "jo", 0);
    assert_int_equal(db_exec(f->store, SQL_TWO, NULL), 0);
    assert_true(hold_stands(f->store, 2));
    assert_int_equal(end(f, &TWO, (struct hold_end){.id = 1}, NULL), 0);
    assert_false(hold_stands(f->store, 2));
    hold(f, &CODE, "wet", "jo", 0);
    assert_standing(f, 300, "L 2/wet/jo/C0 ");
}

/* A case that moved is the one it moved to, and ends with it. */
static void test_a_hold_follows_its_case(void **state)
{
    struct fixture *f = *state;
    hold(f, &LOT, "glass", "jo", 2);
    assert_standing(f, 300, "L1/glass/jo/C1 ");
    assert_true(hold(f, &LOT, "glass", "jo", 1));
    assert_int_equal(end(f, &LOT, (struct hold_end){.case_id = 1}, NULL), 0);
    assert_standing(f, 300, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_several_stand_until_each_has_ended, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_every_disposition_ends_a_hold, setup, fixture_close),
        cmocka_unit_test_setup_teardown(test_all_end_at_once, setup, fixture_close),
        cmocka_unit_test_setup_teardown(test_what_is_not_so_is_refused, setup, fixture_close),
        cmocka_unit_test_setup_teardown(test_what_is_gone_is_told, setup, fixture_close),
        cmocka_unit_test_setup_teardown(test_a_code_becomes_the_lots, setup, fixture_close),
        cmocka_unit_test_setup_teardown(test_a_code_held_in_two_plants_is_held_twice, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_a_loaded_lot_takes_the_holds_of_every_plant, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_a_hold_is_not_lost_beside_its_lot, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_a_hold_follows_its_case, setup, fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
