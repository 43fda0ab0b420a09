/* What is kept with a time is told, once each, in order of time. */
#include "fixture.h"
#include "store/change.h"
#include "store/complaint_place.h"
#include "store/history.h"

struct heard {
    struct text_buffer what;
    int64_t last_ms;
    int stop_after;
};

static int hear(void *arg, const struct history_row *row)
{
    struct heard *h = arg;
    assert_true(row->at_ms >= h->last_ms);
    h->last_ms = row->at_ms;
    text_appendf(&h->what, "%s%s(%s,%s,%s>%s,%s)", h->what.length ? " " : "", row->what, row->by,
                 row->field, row->was, row->is, row->why);
    return h->stop_after && --h->stop_after == 0 ? 77 : 0;
}

static void tells(struct fixture *f, enum history_of of, int64_t id, const char *want)
{
    struct heard h = {.last_ms = 0};
    assert_int_equal(history_read(f->store, of, id, hear, &h, NULL), 0);
    assert_string_equal(h.what.data ? h.what.data : "", want);
    text_buffer_free(&h.what);
}

static struct complaint_placed log_one(struct fixture *f, const char *uuid, int64_t lot_id)
{
    const struct complaint_new c = fixture_complaint(uuid, lot_id);
    struct complaint_placed placed = {0};
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    return placed;
}

static void what_was_changed_is_told_with_what_it_was(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed p = log_one(f, "a", 1);
    const struct change_row packs = {.complaint = "a",
                                     .at_ms = 300,
                                     .by = "ivo",
                                     .reason = "counted again"},
                            gone = {
                                .complaint = "a", .at_ms = 400, .by = "ivo", .reason = "a mistake"};
    assert_int_equal(change_add(f->store, &packs, "packs", "2", "3", NULL), 0);
    assert_int_equal(change_add(f->store, &gone, "withdrawn", "", "withdrawn", NULL), 0);
    assert_int_equal(change_add(f->store, &gone, "withdrawn", "withdrawn", "", NULL), 0);
    tells(f, HISTORY_COMPLAINT, p.complaint_id,
          "logged(,,>,phone) corrected(ivo,packs,2>3,counted again)"
          " withdrawn(ivo,withdrawn,>withdrawn,a mistake)"
          " brought back(ivo,withdrawn,withdrawn>,a mistake)");
}

static void a_case_tells_verdicts_holds_and_actions_beside_its_complaints(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed p = log_one(f, "a", 1);
    fixture_write(
        f, "INSERT INTO hold(lot_id, code, fold, at_ms, by_name, reason, ended_ms, ended_by,"
           " disposition, end_reason) VALUES(1,'L1','L1',200,'ivo','hot',500,'mira',"
           "'release','cool again');"
           "INSERT INTO verdict(case_id, revision, at_ms, cause, confirmed_by, by_name, note,"
           " reopened_ms) VALUES(1,0,300,'packed-hot','assay','ivo','as seen',400);"
           "INSERT INTO corrective_action(line, at_ms, note, by_name, logged_ms)"
           " VALUES('1',250,'fan mended','mira',260)");
    tells(f, HISTORY_CASE, p.case_id,
          "logged(,,>,phone) held(ivo,,>,hot) action(mira,,>1,fan mended)"
          " settled(ivo,,>packed-hot,assay) reopened(,,packed-hot>,as seen)"
          " released(mira,,>release,cool again)");
    fixture_write(f, "INSERT INTO hold(lot_id, code, fold, at_ms, by_name, reason, case_id)"
                     " VALUES(2,'L2','L2',600,'ivo','glass',1),(2,'L2','L2',700,'ivo','wet',NULL)");
    tells(f, HISTORY_CASE, p.case_id,
          "logged(,,>,phone) held(ivo,,>,hot) action(mira,,>1,fan mended)"
          " settled(ivo,,>packed-hot,assay) reopened(,,packed-hot>,as seen)"
          " released(mira,,>release,cool again) held(ivo,,>,glass)");
    tells(f, HISTORY_LOT, 1, "held(ivo,,>,hot) released(mira,,>release,cool again)");
}

static void whoever_was_in_a_case_once_is_in_its_story(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1), b = log_one(f, "b", 2), moved;
    const struct complaint_lots lots = {.state = LOT_EXACT, .count = 1, .lot = {{2, 0.95}}};
    const struct complaint_why why = {"mira", "misread", 200};
    assert_int_equal(complaint_place(f->store, a.complaint_id, &lots, &why, &moved, NULL), 0);
    assert_int_equal(moved.case_id, b.case_id);
    tells(f, HISTORY_CASE, a.case_id,
          "logged(,,>,phone) moved(mira,lot,L1>L2,misread) moved(mira,case,C1>C2,misread)");
    tells(f, HISTORY_LOT, 2, "moved(mira,lot,L1>L2,misread)");
}

static void a_callback_that_has_enough_stops_it(void **state)
{
    struct fixture *f = *state;
    struct heard h = {.stop_after = 1};
    struct complaint_placed p = log_one(f, "a", 1);
    const struct change_row packs = {
        .complaint = "a", .at_ms = 300, .by = "ivo", .reason = "counted again"};
    assert_int_equal(change_add(f->store, &packs, "packs", "2", "3", NULL), 0);
    assert_int_equal(history_read(f->store, HISTORY_COMPLAINT, p.complaint_id, hear, &h, NULL), 77);
    assert_string_equal(h.what.data, "logged(,,>,phone)");
    text_buffer_free(&h.what);
}

#define ON_TWO_LOTS(test) cmocka_unit_test_setup_teardown(test, fixture_open, fixture_close)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_TWO_LOTS(what_was_changed_is_told_with_what_it_was),
        ON_TWO_LOTS(a_case_tells_verdicts_holds_and_actions_beside_its_complaints),
        ON_TWO_LOTS(whoever_was_in_a_case_once_is_in_its_story),
        ON_TWO_LOTS(a_callback_that_has_enough_stops_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
