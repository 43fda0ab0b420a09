/* Complaints are logged once, cases follow the lot, a complaint can be placed again. */
#include "base/text.h"
#include "check.h"
#include "fixture.h"
#include "store/case.h"
#include "store/change.h"
#include "store/complaint.h"
#include "store/complaint_place.h"
#include "store/contact.h"
#include "store/db.h"
#include "store/ranking.h"
#include "store/verdict.h"
#include "store/work.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct complaint_placed log_one(struct fixture *f, const char *uuid, int64_t lot_id,
                                       int64_t received_ms)
{
    struct complaint_new c = fixture_complaint(uuid, lot_id);
    struct complaint_placed placed = {0};
    c.received_ms = received_ms;
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    return placed;
}

static struct case_row case_of(struct fixture *f, int64_t id)
{
    struct case_row row = {0};
    assert_int_equal(case_get(f->store, id, &row, NULL), 0);
    return row;
}

static void one_lot_and_symptom_is_one_case(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1, 50), b = log_one(f, "b", 1, 90);
    assert_true(a.new_case);
    assert_false(b.new_case);
    assert_int_equal(a.case_id, b.case_id);
    struct case_row row = case_of(f, a.case_id);
    assert_int_equal(row.complaints, 2);
    assert_int_equal(row.packs, 4);
    assert_int_equal(row.opened_ms, 50);
    assert_int_equal(row.as_of_ms, 90);
}

static void open_lots_are_cases_of_their_own(void **state)
{
    struct fixture *f = *state;
    assert_int_not_equal(log_one(f, "a", 0, 50).case_id, log_one(f, "b", 0, 50).case_id);
}

static void the_same_id_is_logged_once(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1, 50), again = log_one(f, "a", 2, 70);
    assert_true(again.again);
    assert_int_equal(a.case_id, again.case_id);
    assert_int_equal(again.lot_id, 1);
    assert_int_equal(case_of(f, a.case_id).complaints, 1);
}

static void logging_queues_the_ranking_in_the_same_commit(void **state)
{
    struct fixture *f = *state;
    int64_t waiting = 0;
    struct work_row row;
    struct work_rows due = {&row, 0, 1};
    struct complaint_placed a = log_one(f, "a", 1, 50);
    assert_int_equal(work_due(f->store, WORK_RANK, 1000, &due, NULL), 0);
    assert_int_equal(due.count, 1);
    assert_int_equal(row.subject_id, a.case_id);
    /* more comes while the ranking is under way: finishing the old round keeps the new one */
    log_one(f, "b", 1, 60);
    assert_int_equal(work_done(f->store, WORK_RANK, &row, NULL), 0);
    assert_int_equal(work_count(f->store, WORK_RANK, &waiting, NULL), 0);
    assert_int_equal(waiting, 1);
}

static struct complaint_placed place(struct fixture *f, int64_t complaint_id, enum lot_state state,
                                     int64_t lot_id)
{
    const struct complaint_lots lots = {
        .state = state, .count = lot_id > 0, .lot = {{lot_id, 0.9}}};
    const struct complaint_why why = {"oddloaf", "matched again", 200};
    struct complaint_placed placed = {0};
    struct error err = {0};
    if (complaint_place(f->store, complaint_id, &lots, &why, &placed, &err))
        fail_msg("%s", err.text);
    return placed;
}

static int note_change(void *arg, const struct change_row *row)
{
    char *out = arg;
    size_t used = strlen(out);
    assert_string_equal(row->by, "oddloaf");
    assert_string_equal(row->reason, "matched again");
    snprintf(out + used, 400 - used, "%s:%s>%s ", row->field, row->was, row->now);
    return 0;
}

static void a_case_keeps_its_name_when_its_lot_is_found(void **state)
{
    struct fixture *f = *state;
    char changes[400] = "";
    struct complaint_placed a = log_one(f, "a", 0, 50);
    struct complaint_placed moved = place(f, a.complaint_id, LOT_LIKELY, 2);
    assert_int_equal(moved.lot_id, 2);
    assert_int_equal(moved.case_id, a.case_id);
    assert_int_equal(case_of(f, a.case_id).lot_id, 2);
    assert_int_equal(case_of(f, a.case_id).complaints, 1);
    /* and when it turns out to be another, or none */
    assert_int_equal(place(f, a.complaint_id, LOT_EXACT, 1).case_id, a.case_id);
    assert_int_equal(case_of(f, a.case_id).lot_id, 1);
    assert_int_equal(place(f, a.complaint_id, LOT_NOT_ON_RECORD, 0).case_id, a.case_id);
    assert_int_equal(case_of(f, a.case_id).lot_id, 0);
    assert_int_equal(change_of(f->store, "a", note_change, changes, NULL), 0);
    assert_string_equal(changes,
                        "lot:>L2 lot_state:unknown>likely lot:L2>L1 lot_state:likely>exact "
                        "lot:L1> lot_state:exact>not-on-record ");
}

static void a_case_whose_lot_has_one_becomes_that(void **state)
{
    struct fixture *f = *state;
    int64_t here[4];
    struct store_ids ids = {here, 0, 4};
    struct complaint_placed first = log_one(f, "a", 2, 40), open = log_one(f, "b", 0, 50);
    struct complaint_placed moved = place(f, open.complaint_id, LOT_EXACT, 2);
    assert_int_equal(moved.case_id, first.case_id);
    assert_false(moved.new_case);
    /* the old name leads to it */
    assert_int_equal(case_of(f, open.case_id).id, first.case_id);
    assert_int_equal(case_of(f, first.case_id).complaints, 2);
    assert_int_equal(case_moved_here(f->store, first.case_id, &ids, NULL), 0);
    assert_int_equal(ids.count, 1);
    assert_int_equal(here[0], open.case_id);
}

static void a_move_out_of_a_shared_case_leaves_the_rest(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1, 50), b = log_one(f, "b", 1, 90);
    assert_int_not_equal(place(f, b.complaint_id, LOT_LIKELY, 2).case_id, a.case_id);
    struct case_row row = case_of(f, a.case_id);
    assert_int_equal(row.id, a.case_id);
    assert_int_equal(row.complaints, 1);
    assert_int_equal(row.as_of_ms, 50);
}

/* A lot whose only complaint was found to be about another gets a complaint of its own later. */
static void a_case_that_moved_away_comes_back(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1, 50), b = log_one(f, "b", 2, 60);
    assert_int_equal(place(f, a.complaint_id, LOT_EXACT, 2).case_id, b.case_id);
    struct complaint_placed c = log_one(f, "c", 1, 70);
    assert_int_equal(case_of(f, c.case_id).id, c.case_id);
    assert_int_equal(case_of(f, c.case_id).lot_id, 1);
    assert_int_equal(case_of(f, c.case_id).complaints, 1);
}

static int note_id(void *arg, const struct complaint_row *row)
{
    int64_t *ids = arg;
    while (*ids)
        ids++;
    *ids = row->id;
    return 0;
}

static void what_is_not_exact_is_walked_over_in_slices(void **state)
{
    struct fixture *f = *state;
    int64_t ids[8] = {0};
    struct complaint_placed exact = log_one(f, "a", 1, 50), open = log_one(f, "b", 0, 60);
    struct complaint_placed other = log_one(f, "c", 0, 70), old = log_one(f, "d", 0, 10);
    place(f, open.complaint_id, LOT_LIKELY, 2); /* placed, and still not exact */
    const struct complaint_slice first = {20, 0, 1}, next = {20, open.complaint_id, 9};
    assert_int_equal(complaint_not_exact(f->store, &first, note_id, ids, NULL), 0);
    assert_int_equal(complaint_not_exact(f->store, &next, note_id, ids, NULL), 0);
    assert_int_equal(ids[0], open.complaint_id);
    assert_int_equal(ids[1], other.complaint_id);
    assert_int_equal(ids[2], 0);
    assert_true(exact.complaint_id && old.complaint_id);
}

/* Two lots that bear one code: whose complaint it is must be looked at again. */
static void a_second_lot_of_a_code_makes_it_doubtful(void **state)
{
    struct fixture *f = *state;
    struct complaint_lots lots;
    struct complaint_placed a = log_one(f, "a", 1, 50);
    assert_int_equal(complaint_place_doubt(f->store, 2, NULL), 0);
    assert_int_equal(complaint_lots_of(f->store, a.complaint_id, &lots, NULL), 0);
    assert_int_equal(lots.state, LOT_EXACT);
    assert_int_equal(db_exec(f->store, "UPDATE lot SET fold = 'L1' WHERE id = 2", NULL), 0);
    assert_int_equal(complaint_place_doubt(f->store, 2, NULL), 0);
    assert_int_equal(complaint_lots_of(f->store, a.complaint_id, &lots, NULL), 0);
    assert_int_equal(lots.state, LOT_LIKELY);
}

static void verdicts_stand_once_and_reopen(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed a = log_one(f, "a", 1, 50);
    struct error err = {0};
    struct ranking ranking = {.case_id = a.case_id, .as_of_ms = 50, .complaints = 1};
    assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
    assert_int_equal(
        verdict_add(f->store,
                    &(struct verdict_new){a.case_id, 300, "packed-hot", "assay", NULL, "qa"}, NULL),
        0);
    assert_true(case_of(f, a.case_id).settled);
    assert_int_equal(
        verdict_add(f->store,
                    &(struct verdict_new){a.case_id, 301, "old-stock", "assay", NULL, "qa"}, &err),
        ERROR_CONFLICT);
    assert_int_equal(verdict_reopen(f->store, a.case_id, "mistake", "qa", 302, NULL), 0);
    assert_false(case_of(f, a.case_id).settled);
    assert_int_equal(verdict_reopen(f->store, a.case_id, NULL, "qa", 303, NULL), ERROR_NOT_FOUND);
    assert_int_equal(
        verdict_add(f->store,
                    &(struct verdict_new){a.case_id, 304, "old-stock", "assay", NULL, "qa"}, NULL),
        0);
}

static void contact_is_erased_by_any_of_its_words(void **state)
{
    struct fixture *f = *state;
    int erased = 0;
    char *text = NULL;
    struct complaint_placed placed;
    struct complaint_new c = {.uuid = "p",
                              .received_ms = 5,
                              .logged_ms = 5,
                              .channel = "web",
                              .symptom = "mold",
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .body = "{}",
                              .contact = "{\"name\":\"Dana Quill\"}",
                              .contact_fold = "\ndana quill\n5550100\n",
                              .contact_purge_ms = 1000};
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    assert_int_equal(contact_erase(f->store, "dana", 10, &erased, NULL), 0);
    assert_int_equal(erased, 0); /* a part of a name is not the name */
    assert_int_equal(contact_erase(f->store, "5550100", 10, &erased, NULL), 0);
    assert_int_equal(erased, 1);
    assert_int_equal(contact_get(f->store, placed.complaint_id, "", &text, NULL), 0);
    assert_null(text);
}

static void contact_is_purged_by_date(void **state)
{
    struct fixture *f = *state;
    int purged = 0;
    struct complaint_placed placed;
    struct complaint_new c = {.uuid = "p",
                              .channel = "web",
                              .symptom = "mold",
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .body = "{}",
                              .contact = "{}",
                              .contact_fold = "\nx\n",
                              .contact_purge_ms = 1000};
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    assert_int_equal(contact_purge(f->store, 999, &purged, NULL), 0);
    assert_int_equal(purged, 0);
    assert_int_equal(contact_purge(f->store, 1000, &purged, NULL), 0);
    assert_int_equal(purged, 1);
}

struct read_back {
    struct complaint_new of;
    bool withdrawn;
    int rows;
};

static int compare_row(void *arg, const struct complaint_row *row)
{
    struct read_back *r = arg;
    r->rows++;
    assert_string_equal(row->uuid, r->of.uuid);
    assert_string_equal(row->channel, r->of.channel);
    assert_string_equal(row->symptom, r->of.symptom);
    assert_string_equal(row->lot_text, r->of.lot_text);
    assert_string_equal(row->store, r->of.store);
    assert_string_equal(row->route, r->of.route);
    assert_string_equal(row->body, r->of.body);
    assert_true(row->received_ms == r->of.received_ms && row->logged_ms == r->of.logged_ms);
    assert_true(row->code_day == r->of.code_day && row->bought_day == r->of.bought_day &&
                row->found_day == r->of.found_day);
    assert_true(row->packs == r->of.packs && row->units == r->of.units);
    assert_true(row->harm == r->of.harm && row->withdrawn == r->withdrawn);
    assert_true(row->lot_id == r->of.lots.lot[0].lot_id && row->lot_state == LOT_EXACT);
    return 0;
}

/* Each member as it was taken: none is another's. */
static void all_that_is_taken_is_read_back(void **state)
{
    struct fixture *f = *state;
    for (int harm = 0; harm < 2; harm++) {
        struct read_back r = {.of = fixture_complaint(harm ? "of harm" : "of none", 1)};
        struct complaint_placed placed;
        r.of.lot_text = "L 1";
        r.of.store = "0417";
        r.of.route = "R7";
        r.of.body = "{\"a\":1}";
        r.of.code_day = 11;
        r.of.bought_day = 12;
        r.of.found_day = 13;
        r.of.packs = 14;
        r.of.units = 15;
        r.of.harm = harm;
        assert_int_equal(complaint_log(f->store, &r.of, &placed, NULL), 0);
        assert_int_equal(placed.harm, false); /* it is not here for the second time */
        assert_int_equal(complaint_by_uuid(f->store, r.of.uuid, compare_row, &r, NULL), 0);
        assert_int_equal(complaint_log(f->store, &r.of, &placed, NULL), 0);
        assert_true(placed.again && placed.harm == harm);
        assert_int_equal(complaint_withdraw(f->store, placed.complaint_id, 500, 500, NULL), 0);
        r.withdrawn = true;
        assert_int_equal(complaint_by_id(f->store, placed.complaint_id, compare_row, &r, NULL), 0);
        assert_int_equal(r.rows, 2);
    }
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, fixture_open, fixture_close)

/* How many are to be ranked again, the row that stands for many among them. */
static int64_t waiting(struct fixture *f, const char *kind)
{
    int64_t count = 0;
    assert_int_equal(work_count(f->store, kind, &count, NULL), 0);
    return count;
}

static int64_t times_written(struct fixture *f, const char *kind)
{
    struct work_row row;
    struct work_rows due = {.row = &row, .capacity = 1};
    assert_int_equal(work_due(f->store, kind, INT64_MAX, &due, NULL), 0);
    assert_int_equal(due.count, 1);
    return row.seq;
}

static void a_late_complaint_calls_for_its_neighbours_however_many(void **state)
{
    enum { FEW = 16, MANY = 200 };
    struct fixture *f = *state;
    char uuid[16];
    for (int i = 0; i < FEW; i++) {
        snprintf(uuid, sizeof uuid, "open %d", i);
        log_one(f, uuid, 0, 5 * WHEN_DAY_MS + i);
    }
    fixture_write(f, "DELETE FROM work");
    log_one(f, "late", 1, 2 * WHEN_DAY_MS);
    assert_int_equal(waiting(f, WORK_AGAIN), FEW);
    assert_int_equal(waiting(f, WORK_SINCE), 0);
    for (int i = FEW; i < MANY; i++) {
        snprintf(uuid, sizeof uuid, "open %d", i);
        log_one(f, uuid, 0, 5 * WHEN_DAY_MS + i);
    }
    fixture_write(f, "DELETE FROM work");
    for (int i = 0; i < 3; i++) {
        snprintf(uuid, sizeof uuid, "later %d", i);
        log_one(f, uuid, 2, 3 * WHEN_DAY_MS);
    }
    assert_int_equal(waiting(f, WORK_AGAIN), 0);
    assert_int_equal(waiting(f, WORK_SINCE), 1);
    assert_int_equal(times_written(f, WORK_SINCE), 1);
    log_one(f, "of a later day", 1, 5 * WHEN_DAY_MS); /* the earlier day's will do */
    assert_int_equal(waiting(f, WORK_SINCE), 1);
    assert_int_equal(waiting(f, WORK_AGAIN), 0);
    log_one(f, "of an earlier day", 1, 2 * WHEN_DAY_MS);
    assert_int_equal(waiting(f, WORK_SINCE), 2);
    assert_int_equal(work_rank_since(f->store, 3, 100, NULL), 0);
    assert_int_equal(waiting(f, WORK_AGAIN), MANY); /* not the late ones, ranked anyway */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(one_lot_and_symptom_is_one_case),
        TEST(open_lots_are_cases_of_their_own),
        TEST(all_that_is_taken_is_read_back),
        TEST(the_same_id_is_logged_once),
        TEST(logging_queues_the_ranking_in_the_same_commit),
        TEST(a_case_keeps_its_name_when_its_lot_is_found),
        TEST(a_case_whose_lot_has_one_becomes_that),
        TEST(a_case_that_moved_away_comes_back),
        TEST(what_is_not_exact_is_walked_over_in_slices),
        TEST(a_second_lot_of_a_code_makes_it_doubtful),
        TEST(a_move_out_of_a_shared_case_leaves_the_rest),
        TEST(verdicts_stand_once_and_reopen),
        TEST(contact_is_erased_by_any_of_its_words),
        TEST(contact_is_purged_by_date),
        TEST(a_late_complaint_calls_for_its_neighbours_however_many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
