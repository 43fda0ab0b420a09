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
    int64_t count = -1;
    struct error err = {0};
    if (spoken_undecided(&f->desk, f->store, &count, &err))
        fail_msg("%s", err.text);
    return count;
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

/* More than are kept: further ones are read as the first are decided about. */
static void no_more_are_kept_than_fit(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    begin(f);
    for (int i = 0; i <= MEASURED_PICKED; i++) {
        char sample[16];
        snprintf(sample, sizeof sample, "%d", i);
        put(f, i < MEASURED_PICKED ? 1 : 2, sample, "positive");
    }
    assert_int_equal(undecided(f), 1); /* the second lot's is one too many */
    const struct measured_row back = result(f, 1, "7", "positive");
    assert_int_equal(measured_take_back(f->store, &back, &err), 0);
    assert_int_equal(undecided(f), 1);
    assert_int_equal(undecided(f), 2);
    fixture_end(f, false);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lots_count_until_somebody_decides),
        cmocka_unit_test(other_words_read_all_again),
        cmocka_unit_test(no_more_are_kept_than_fit),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
