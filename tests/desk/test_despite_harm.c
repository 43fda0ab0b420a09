/* What closes a lot although bread of it is moldy or ropy: refused, or kept and mailed with why. */
#include "desk/despite_harm.h"
#include "fixture.h"
#include "rank/triage.h"
#include "store/follow.h"
#include "store/measured.h"
#include "store/ranking.h"
#include <math.h>

static int open_ranked(void **state)
{
    struct error err = {0};
    int rc = fixture_open(state);
    struct fixture *f = *state;
    if (!rc && triage_new(ODDLOAF_SOURCE_DIR "/rules", f->tz, NULL, NULL, &f->desk.triage, &err))
        fail_msg("%s", err.text);
    return rc;
}

static int close_ranked(void **state)
{
    struct fixture *f = *state;
    triage_free(f->desk.triage);
    return fixture_close(state);
}

/* The only case, ranked so. */
static void rank_as(struct fixture *f, const char *cause, double probability, const char *other)
{
    struct error err = {0};
    struct ranking_cause causes[2] = {{.probability = probability},
                                      {.probability = 1 - probability}};
    struct ranking ranking = {.case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                              .as_of_ms = f->now_ms,
                              .complaints = 1,
                              .causes = causes,
                              .cause_count = 2};
    strcpy(causes[0].cause, cause);
    strcpy(causes[1].cause, other);
    strcpy(ranking.rules, triage_hash(f->desk.triage));
    if (ranking_save(f->store, &ranking, &err))
        fail_msg("%s", err.text);
}

static int pass(struct fixture *f, bool eaten, const char *anyway, struct error *err)
{
    const struct hold_of lot = {.lot_id = 1, .code = "L1 6318 A0400"};
    struct despite_harm despite = {.desk = &f->desk,
                                   .did = "L1 6318 A0400: hold ended (rework)",
                                   .lots = &lot,
                                   .lot_count = 1,
                                   .reworked = eaten,
                                   .anyway = anyway,
                                   .by = "mira",
                                   .user = "mira",
                                   .now_ms = f->now_ms};
    int rc = despite_harm_pass(f->store, &despite, err);
    assert_int_equal(json_array_size(despite.found), rc || anyway ? 1 : 0);
    json_decref(despite.found);
    return rc;
}

/* The gravest is not left out for no complaint tells it. */
static void what_was_written_since_is_named_first(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    enum measured_outcome outcome;
    fixture_log(f, FIRST, "{'harm':['illness'],'note':'felt queasy'}");
    const int64_t id = fixture_number(f, "SELECT max(id) FROM complaint_case");
    const int64_t lot = fixture_number(f, "SELECT max(lot_id) FROM complaint_case");
    const struct follow_entry entry = {.case_id = id,
                                       .at_ms = f->now_ms + 1000,
                                       .what = "noted",
                                       .report = "",
                                       .was = "",
                                       .now = "",
                                       .text = "two more customers in hospital, vomiting",
                                       .by_name = "ines",
                                       .user = ""};
    const struct measured_row result = {.lot_id = lot,
                                        .quantity = "salmonella",
                                        .lab = "",
                                        .sample = "",
                                        .said = "positive",
                                        .value = NAN,
                                        .unit = "",
                                        .word = "",
                                        .method = "",
                                        .note = "",
                                        .at_ms = f->now_ms,
                                        .case_id = id,
                                        .by_name = "jo",
                                        .user = "",
                                        .logged_ms = f->now_ms + 2000,
                                        .reason = ""};
    assert_int_equal(follow_add(f->store, &entry, NULL, &err), 0);
    assert_int_equal(measured_put(f->store, &result, &outcome, &err), 0);
    struct despite_harm despite = {.desk = &f->desk,
                                   .did = "released",
                                   .case_id = id,
                                   .by = "mira",
                                   .user = "mira",
                                   .now_ms = f->now_ms + 3000};
    assert_int_equal(despite_harm_pass(f->store, &despite, &err), ERROR_CONFLICT);
    assert_int_equal(json_array_size(despite.found), 3);
    const char *const FIRSTS[] = {"salmonella positive",
                                  "two more customers in hospital, vomiting"};
    for (size_t i = 0; i < 2; i++)
        assert_string_equal(
            json_string_value(json_object_get(json_array_get(despite.found, i), "spoken")),
            FIRSTS[i]);
    json_decref(despite.found);
}

static void moldy_bread_is_neither_sold_nor_reworked(void **state)
{
    static const struct {
        const char *said, *cause, *other;
        double probability;
        bool refused;
    } ROWS[] = {
        {"{}", "packed-hot", "not-known", 0.97, true},
        {"{}", "not-known", "pack-leak", 0.45, true},
        {"{}", "packed-hot", "not-known", 0.49, false},
        {"{}", "packed-hot", "pack-leak", 0.4, true}, /* one of the two it is */
        {"{}", "warm-storage", "not-known", 0.9, false},
        {"{'symptom':'off-odor'}", "rope", "not-known", 0.8, true},
        {"{'symptom':'off-odor'}", "mold-hidden", "not-known", 0.8, true},
        {"{'symptom':'off-odor'}", "over-fermented", "not-known", 0.8, false},
        {"{'symptom':'staling'}", "rope-crumb", "not-known", 0.8, true},
        {"{'symptom':'staling'}", "overbaked", "not-known", 0.8, false},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct error err = {0};
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].said);
        rank_as(f, ROWS[i].cause, ROWS[i].probability, ROWS[i].other);
        assert_int_equal(pass(f, true, NULL, &err), ROWS[i].refused ? ERROR_CONFLICT : 0);
        assert_true(!ROWS[i].refused || strstr(err.text, "neither sold nor reworked"));
        assert_true(!ROWS[i].refused || strstr(err.hint, "--anyway"));
        assert_int_equal(pass(f, false, NULL, &err), 0); /* diverted, destroyed */
        fixture_end(f, false);
    }
}

static void done_all_the_same_it_is_kept_and_mailed(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    fixture_log(f, FIRST, "{}");
    rank_as(f, "packed-hot", 0.97, "not-known");
    int64_t mails = fixture_number(f, "SELECT count(*) FROM outbox");
    assert_int_equal(pass(f, true, "the sample is clean", &err), 0);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM outbox"), mails + 1);
    assert_int_equal(
        fixture_number(f,
                       "SELECT count(*) FROM outbox_text WHERE payload LIKE '%97 % together, the "
                       "likeliest: %sweats%the sample is clean%' OR payload LIKE '%the sample is "
                       "clean%97 % together, the likeliest: %sweats%'"),
        1);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM follow_entry WHERE text LIKE "
                                       "'%although moldy or ropy bread is open (%97 % together, "
                                       "%sweats): the sample is clean'"),
                     1);
}

/* Lot L2, of which nobody complained, or a code on no record; released. */
static int freed(struct fixture *f, const struct hold_of *lot, const char *anyway,
                 struct error *err)
{
    struct despite_harm despite = {.desk = &f->desk,
                                   .did = "L2 6318 A0400: hold ended (release)",
                                   .lots = lot,
                                   .lot_count = 1,
                                   .freed = true,
                                   .anyway = anyway,
                                   .by = "mira",
                                   .user = "mira",
                                   .now_ms = f->now_ms};
    int rc = despite_harm_pass(f->store, &despite, err);
    assert_true(!rc || json_array_size(despite.found) == 1);
    assert_true(rc || anyway || !json_array_size(despite.found));
    json_decref(despite.found);
    return rc;
}

static int release(struct fixture *f, const struct hold_of *lot, struct error *err)
{
    return freed(f, lot, NULL, err);
}

/* A laboratory's result says harm until it is taken back: not if the complaint is corrected to say
 * none, nor if nobody complained of the lot. */
static void what_a_laboratory_found_stands(void **state)
{
    static const struct hold_of LOT = {2, "L2 6318 A0400"};
    static const char *const SAID[] = {NULL, "{'harm':[],'harm_read':true}"};
    static const struct {
        const char *quantity, *said;
        bool harm;
    } ROWS[] = {{"salmonella", "positive", true},
                {"salmonella", "absent/25 g", false},
                {"glass", "3 grains", true}, /* that may be it */
                {"crumb_colour", "yellow", false}};
    struct fixture *f = *state;
    for (size_t i = 0; i < 2 * COUNT_OF(ROWS); i++) {
        const char *quantity = ROWS[i / 2].quantity, *said = SAID[i % 2];
        bool harm = ROWS[i / 2].harm;
        struct error err = {0};
        enum measured_outcome outcome;
        fixture_begin(f);
        if (said) {
            fixture_log(f, FIRST, said);
            assert_int_equal(db_exec(f->store,
                                     "UPDATE complaint SET lot_id = 2;"
                                     "UPDATE complaint_case SET lot_id = 2",
                                     &err),
                             0);
        }
        struct measured_row result = {.lot_id = 2,
                                      .quantity = quantity,
                                      .lab = "",
                                      .sample = "",
                                      .said = ROWS[i / 2].said,
                                      .value = NAN,
                                      .unit = "",
                                      .word = "",
                                      .method = "",
                                      .note = "",
                                      .at_ms = f->now_ms,
                                      .by_name = "jo",
                                      .user = "",
                                      .logged_ms = f->now_ms,
                                      .reason = "a slip"};
        assert_int_equal(measured_put(f->store, &result, &outcome, &err), 0);
        assert_int_equal(release(f, &LOT, &err), harm ? ERROR_CONFLICT : 0);
        assert_true(!harm || strstr(err.text, said ? "harm is open of C" : "harm is open of L2"));
        int64_t mails = fixture_number(f, "SELECT count(*) FROM outbox");
        assert_int_equal(freed(f, &LOT, "tested again, clean", &err), 0);
        assert_int_equal(fixture_number(f, "SELECT count(*) FROM outbox"), mails + harm);
        assert_int_equal(measured_take_back(f->store, &result, &err), 0);
        assert_int_equal(release(f, &LOT, &err), 0);
        fixture_end(f, false);
    }
}

/* What was held for harm is not given free while that is open, whose lot soever it is. */
static void what_was_held_for_harm_stays_held(void **state)
{
    static const struct hold_of LOTS[] = {{2, "L2 6318 A0400"}, {0, "L9 6318 A0400"}};
    static const struct {
        const char *said;
        bool refused;
    } ROWS[] = {{"{'symptom':'other','harm':['foreign-matter']}", true},
                {"{'note':'her kid had hives after it'}", true},
                {"{}", false}};
    struct fixture *f = *state;
    for (size_t i = 0; i < 2 * sizeof ROWS / sizeof ROWS[0]; i++) {
        const struct hold_of *lot = &LOTS[i % 2];
        struct error err = {0};
        bool stood;
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i / 2].said);
        assert_int_equal(release(f, lot, &err), 0);
        const struct hold_entry held = {
            "found",   "mira",
            "mira",    fixture_number(f, "SELECT max(id) FROM complaint_case"),
            f->now_ms, .still_about = false};
        assert_int_equal(hold_add(f->store, lot, &held, &stood, &err), 0);
        assert_int_equal(release(f, lot, &err), ROWS[i / 2].refused ? ERROR_CONFLICT : 0);
        assert_true(!ROWS[i / 2].refused || strstr(err.text, "harm is open of C"));
        fixture_end(f, false);
    }
}

/* Nor is a lot that the complaint may be about, be it one of fifty. */
static void a_candidate_of_harm_stays_held(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    fixture_log(f, FIRST, "{'symptom':'other','harm':['foreign-matter'],'lot_text':'no idea'}");
    assert_int_equal(release(f, &(struct hold_of){2, "L2 6318 A0400"}, &err), 0);
    assert_int_equal(
        db_exec(f->store, "INSERT INTO complaint_lot SELECT max(id), 2, 0.02 FROM complaint", &err),
        0);
    assert_int_equal(release(f, &(struct hold_of){2, "L2 6318 A0400"}, &err), ERROR_CONFLICT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_was_written_since_is_named_first, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(moldy_bread_is_neither_sold_nor_reworked, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(done_all_the_same_it_is_kept_and_mailed, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_a_laboratory_found_stands, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_was_held_for_harm_stays_held, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_candidate_of_harm_stays_held, fixture_clean,
                                        fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, open_ranked, close_ranked);
}
