/* Lots in which a laboratory found harm that nobody decided about: counted as they come, each
 * result read once. */
#include "desk/spoken.h"
#include "fixture.h"
#include "store/measured.h"
#include <math.h>

/* What is taken back at the end of a test gives its numbers free. */
static void begin(struct fixture *f)
{
    fixture_begin(f);
    *measured_reading(f->store) = (struct measured_reading){0};
}

static struct measured_row result(const struct fixture *f, int64_t lot_id, const char *sample,
                                  const char *said)
{
    return (struct measured_row){.lot_id = lot_id,
                                 .quantity = "salmonella",
                                 .lab = "Millgate",
                                 .sample = sample,
                                 .said = said,
                                 .value = NAN,
                                 .unit = "",
                                 .word = "",
                                 .method = "",
                                 .note = "",
                                 .at_ms = f->now_ms,
                                 .by_name = "jo",
                                 .user = "",
                                 .logged_ms = f->now_ms,
                                 .reason = "another lot's"};
}

static void put(struct fixture *f, int64_t lot_id, const char *sample, const char *said)
{
    enum measured_outcome outcome;
    struct error err = {0};
    const struct measured_row row = result(f, lot_id, sample, said);
    if (measured_put(f->store, &row, &outcome, &err))
        fail_msg("%s", err.text);
}

static int64_t undecided(struct fixture *f)
{
    struct spoken_lots lots;
    struct error err = {0};
    if (spoken_undecided(&f->desk, f->store, &lots, &err))
        fail_msg("%s", err.text);
    return lots.count;
}

static void hold(struct fixture *f, const struct hold_of *lot)
{
    bool stood;
    struct error err = {0};
    const struct hold_entry entry = {
        .reason = "salmonella", .by_name = "mira", .user = "mira", .at_ms = f->now_ms};
    if (hold_add(f->store, lot, &entry, &stood, &err))
        fail_msg("%s", err.text);
}

static void end(struct fixture *f, const struct hold_of *lot)
{
    struct error err = {0};
    const struct hold_end end = {.disposition = "release",
                                 .reason = "retest",
                                 .by_name = "mira",
                                 .user = "mira",
                                 .at_ms = f->now_ms};
    if (hold_end(f->store, lot, &end, &err))
        fail_msg("%s", err.text);
}

static void lots_count_until_somebody_decides(void **state)
{
    static const struct hold_of FIRST_LOT = {1, "L1 6318 A0400"};
    struct fixture *f = *state;
    struct error err = {0};
    begin(f);
    put(f, 1, "1", "absent in 25 g");
    assert_int_equal(undecided(f), 0);
    put(f, 1, "2", "positive");
    put(f, 1, "3", "positive"); /* the same lot */
    assert_int_equal(undecided(f), 1);
    put(f, 2, "1", "positive");
    assert_int_equal(undecided(f), 2);
    hold(f, &FIRST_LOT);
    assert_int_equal(undecided(f), 1);
    f->now_ms += 60000;
    end(f, &FIRST_LOT);
    assert_int_equal(undecided(f), 1); /* decided */
    f->now_ms += 60000;
    put(f, 1, "4", "positive"); /* found after that */
    assert_int_equal(undecided(f), 2);
    const struct measured_row back = result(f, 2, "1", "positive");
    assert_int_equal(measured_take_back(f->store, &back, &err), 0);
    assert_int_equal(undecided(f), 1);
    fixture_end(f, false);
}

/* The plant's words are read anew: what was no harm by the old ones may be by these. */
static void other_words_read_all_again(void **state)
{
    struct fixture *f = *state;
    struct lexicon *none = lexicon_new();
    const struct lexicon *shipped = f->desk.lexicon;
    assert_int_not_equal(lexicon_number(none), lexicon_number(shipped));
    begin(f);
    put(f, 1, "1", "positive");
    f->desk.lexicon = none;
    assert_int_equal(undecided(f), 0);
    f->desk.lexicon = shipped;
    assert_int_equal(undecided(f), 1);
    fixture_end(f, false);
    lexicon_free(none);
}

/* Was the newest a slip, the one before it counts. */
static void one_before_the_newest_stands(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    begin(f);
    put(f, 1, "1", "positive");
    put(f, 1, "2", "absent in 25 g");
    put(f, 1, "3", "positive");
    const struct measured_row last = result(f, 1, "3", "positive");
    const struct measured_row first = result(f, 1, "1", "positive");
    assert_int_equal(undecided(f), 1);
    assert_int_equal(measured_take_back(f->store, &last, &err), 0);
    assert_int_equal(undecided(f), 1);
    assert_int_equal(measured_take_back(f->store, &first, &err), 0);
    assert_int_equal(undecided(f), 0);
    fixture_end(f, false);
}

/* More lots than are kept, all but the last on hold: it is told that there are others. */
static void others_are_told_of(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct spoken_lots lots;
    char last[16];
    snprintf(last, sizeof last, "K%d", 10 + MEASURED_PICKS);
    begin(f);
    for (int i = 10; i <= 10 + MEASURED_PICKS; i++) {
        char sql[400];
        snprintf(sql, sizeof sql,
                 "INSERT INTO lot SELECT %d, 'K%d', 'K%d', plant, product_id, line, shift, "
                 "made_from_ms, made_to_ms,"
                 " packed_from_ms, packed_to_ms, units, code_day FROM lot WHERE id = 1;"
                 "INSERT INTO hold(lot_id, code, fold, reason, by_name, at_ms) SELECT id, lot, "
                 "fold, 'salmonella',"
                 " 'mira', 0 FROM lot WHERE id = %d AND id < %d",
                 i, i, i, i, 10 + MEASURED_PICKS);
        if (db_exec(f->store, sql, &err))
            fail_msg("%s", err.text);
        put(f, i, "1", "positive");
    }
    assert_int_equal(spoken_undecided(&f->desk, f->store, &lots, &err), 0);
    assert_int_equal(lots.count, 1);
    assert_string_equal(lots.first, "others");
    const struct measured_row back = result(f, 20, "1", "positive");
    assert_int_equal(measured_take_back(f->store, &back, &err), 0);
    undecided(f); /* makes room */
    assert_int_equal(spoken_undecided(&f->desk, f->store, &lots, &err), 0);
    assert_int_equal(lots.count, 1);
    assert_string_equal(lots.first, last);
    fixture_end(f, false);
}

/* What may be harm makes room for what is. */
static void a_pathogen_is_not_crowded_out(void **state)
{
    static const struct hold_of LOT = {1, "L1 6318 A0400"};
    struct fixture *f = *state;
    struct error err = {0};
    json_t *said = NULL;
    begin(f);
    put(f, 1, "first", "positive");
    for (int i = 0; i < 25; i++) {
        char sample[16];
        enum measured_outcome outcome;
        snprintf(sample, sizeof sample, "%d", i);
        f->now_ms += 1000;
        struct measured_row row = result(f, 1, sample, "104");
        row.quantity = "core_at_pack_c";
        row.note = "metal detector failed";
        assert_int_equal(measured_put(f->store, &row, &outcome, &err), 0);
    }
    assert_int_equal(spoken_of_lot(&f->desk, f->store, &LOT, &said, &err), 0);
    assert_int_equal(json_array_size(said), 20);
    assert_string_equal(json_string_value(json_object_get(json_array_get(said, 19), "sample")),
                        "first");
    json_decref(said);
    fixture_end(f, false);
}

/* A note of several results that came together is one thing said. */
static void a_note_is_told_once(void **state)
{
    static const char *const QUANTITIES[] = {"ph", "moisture_pct", "crumb_colour"};
    static const struct hold_of LOT = {1, "L1 6318 A0400"};
    struct fixture *f = *state;
    struct error err = {0};
    json_t *said = NULL, *all = NULL;
    begin(f);
    for (size_t i = 0; i < COUNT_OF(QUANTITIES); i++) {
        enum measured_outcome outcome;
        struct measured_row row = result(f, 1, "1", "5");
        row.quantity = QUANTITIES[i];
        row.note = "glass splinter found in the sample";
        assert_int_equal(measured_put(f->store, &row, &outcome, &err), 0);
    }
    assert_int_equal(spoken_of_lot(&f->desk, f->store, &LOT, &said, &err), 0);
    assert_int_equal(json_array_size(said), 1);
    const struct spoken_in in = {{0, INT64_MAX}, NULL};
    assert_int_equal(spoken_in(&f->desk, f->store, &in, &all, &err), 0);
    assert_int_equal(json_array_size(all), 1);
    json_decref(said);
    json_decref(all);
    fixture_end(f, false);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lots_count_until_somebody_decides),
        cmocka_unit_test(other_words_read_all_again),
        cmocka_unit_test(one_before_the_newest_stands),
        cmocka_unit_test(others_are_told_of),
        cmocka_unit_test(a_pathogen_is_not_crowded_out),
        cmocka_unit_test(a_note_is_told_once),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
