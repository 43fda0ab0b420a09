/* Whatever statement the disk fails at: who asked is told so, of what is read and what is written.
 */
#define FAILING_FIRST 10000 /* every one */
#include "../failing.h"
#include "fixture.h"
#include "store/action.h"
#include "store/attached.h"
#include "store/call_back.h"
#include "store/case.h"
#include "store/change.h"
#include "store/company_count.h"
#include "store/complaint_place.h"
#include "store/contact.h"
#include "store/entry.h"
#include "store/entry_find.h"
#include "store/follow.h"
#include "store/history.h"
#include "store/hold.h"
#include "store/joined.h"
#include "store/lot_around.h"
#include "store/lot_find.h"
#include "store/measured.h"
#include "store/noted.h"
#include "store/open_harm.h"
#include "store/outbox.h"
#include "store/pattern.h"
#include "store/ranking.h"
#include "store/record_find.h"
#include "store/record_gaps.h"
#include "store/recount.h"
#include "store/retained.h"
#include "store/retention.h"
#include "store/returns.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "store/work.h"
#include "store/written_find.h"

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"
#define THIRD "01990000-0000-7000-8000-000000000003"
#define DAY(n) ((n)*WHEN_DAY_MS)

static const struct hold_of OF_LOT = {.lot_id = 1};
static const struct hold_of OF_CODE = {.code = "L1"};
static const struct when_span EVER = {0, DAY(99)};
static const struct complaint_why WHY = {"ivo", "misheard", DAY(3)};

/* One that listens to any row. */
#define EACH(name, type)                                                                           \
    static int name(void *arg, type row)                                                           \
    {                                                                                              \
        (void)arg;                                                                                 \
        (void)row;                                                                                 \
        return 0;                                                                                  \
    }
EACH(an_action, const struct action_row *)
EACH(a_file, const struct attached_row *)
EACH(a_call, const struct call_back_row *)
EACH(a_report, const char *)
EACH(a_case, const struct case_row *)
EACH(a_change, const struct change_row *)
EACH(a_complaint, const struct complaint_row *)
EACH(a_body, const char *)
EACH(an_entry, const struct entry_report *)
EACH(a_found, const struct entry_found *)
EACH(a_follow, const struct follow_entry *)
EACH(a_late_case, const struct follow_row *)
EACH(an_event, const struct history_row *)
EACH(a_hold, const struct hold_row *)
EACH(a_joined, const struct joined_row *)
EACH(a_lot, const struct lot_around_row *)
EACH(a_key, const struct lot_find_key *)
EACH(a_result, const struct measured_row *)

static int a_result_of_a_lot(void *arg, const struct measured_row *row,
                             const struct measured_lot *lot)
{
    (void)lot;
    return a_result(arg, row);
}
EACH(a_note, const struct noted_row *)
EACH(a_harm, const struct open_harm_row *)
EACH(a_mail, const struct outbox_mail *)
EACH(a_sample, const struct retained_sample *)
EACH(a_return, const struct returns_row *)
EACH(a_sent, const struct returns_sent *)
EACH(a_verdict, const struct verdict_row *)
EACH(a_word, const struct written_row *)
EACH(a_gap, const struct record_gap *)
EACH(a_time, int64_t)

static int a_lost_one(void *arg, const char *uuid, int64_t complaint_id, int64_t case_id)
{
    (void)uuid;
    (void)complaint_id;
    return a_time(arg, case_id);
}

static int a_payload(void *arg, int64_t mail_id, const char *payload)
{
    (void)payload;
    return a_time(arg, mail_id);
}

/* ---- what is written ---- */

#define DOES(name) static int name(struct store *s, struct error *err)

DOES(logs)
{
    struct complaint_placed placed;
    struct complaint_new c = fixture_complaint(THIRD, 2);
    c.contact = "{\"name\":\"Ada\"}";
    c.contact_fold = "#5550199";
    c.note = "it was sour";
    return complaint_log(s, &c, &placed, err);
}

DOES(rewrites)
{
    struct complaint_new c = fixture_complaint(FIRST, 1);
    c.packs = 5;
    c.symptom = "staling";
    return complaint_rewrite(s, 1, &c, DAY(3), err);
}

DOES(withdraws)
{
    return complaint_withdraw(s, 1, DAY(3), DAY(3), err);
}

DOES(takes_out)
{
    return complaint_take_out(s, 2, 1, DAY(3), err);
}

DOES(moves)
{
    const struct complaint_lots lots = {.state = LOT_EXACT, .count = 1, .lot = {{2, 0.9}}};
    struct complaint_placed placed;
    return complaint_place(s, 1, &lots, &WHY, &placed, err);
}

DOES(doubts)
{
    return complaint_place_doubt(s, 1, err);
}

DOES(changes)
{
    const struct change_row row = {.complaint = FIRST, .by = "ivo", .reason = "", .at_ms = DAY(2)};
    return change_add(s, &row, "packs", "1", "2", err);
}

DOES(calls_back)
{
    const struct follow_entry entry = {.case_id = 1,
                                       .at_ms = DAY(2),
                                       .what = "call-back",
                                       .report = FIRST,
                                       .was = "",
                                       .now = "",
                                       .text = "",
                                       .by_name = "",
                                       .user = ""};
    int64_t id = 0;
    int rc = follow_add(s, &entry, &id, err);
    rc = rc ? rc : call_back_ask(s, FIRST, 10, id, err);
    return rc ? rc : call_back_answer(s, FIRST, id, err);
}

DOES(follows)
{
    const struct follow_row row = {.case_id = 1, .since_ms = DAY(1), .set_to = FOLLOW_NOT_SET};
    int rc = follow_put(s, &row, err);
    return rc ? rc : follow_moved(s, 1, 2, DAY(3), err);
}

DOES(holds)
{
    const struct hold_entry entry = {.reason = "wet", .by_name = "jo", .user = "", .at_ms = DAY(2)};
    const struct hold_of code = {.code = "L9"};
    bool stood;
    int rc = hold_add(s, &OF_LOT, &entry, &stood, err);
    return rc ? rc : hold_add(s, &code, &entry, &stood, err);
}

DOES(frees)
{
    const struct hold_end end = {.all = true,
                                 .disposition = "release",
                                 .reason = "dry",
                                 .by_name = "jo",
                                 .user = "",
                                 .at_ms = DAY(4)};
    return hold_end(s, &OF_LOT, &end, err);
}

DOES(settles)
{
    const struct verdict_new verdict = {2, DAY(5), "rope", "assay", "", "qa"};
    return verdict_add(s, &verdict, err);
}

DOES(reopens)
{
    return verdict_reopen(s, 1, "", "qa", DAY(6), err);
}

DOES(ranks)
{
    struct ranking_cause causes[] = {{"packed-hot", .8}, {"not-known", .2}};
    struct ranking ranking = {
        .case_id = 2, .complaints = 1, .rules = "r", .causes = causes, .cause_count = 2};
    return ranking_save(s, &ranking, err);
}

DOES(measures)
{
    enum measured_outcome outcome;
    const struct measured_row row = {.lot_id = 1,
                                     .quantity = "core_at_pack_c",
                                     .lab = "Northgate",
                                     .sample = "1",
                                     .said = "44",
                                     .value = 44,
                                     .unit = "degC",
                                     .word = "",
                                     .at_ms = DAY(2),
                                     .by_name = "qa",
                                     .user = "",
                                     .logged_ms = DAY(3),
                                     .reason = "read again"};
    int rc = measured_put(s, &row, &outcome, err);
    return rc ? rc : measured_take_back(s, &row, err);
}

DOES(joins)
{
    const struct joined_row row = {1, DAY(1), DAY(1), DAY(2), THIRD, "{}", NULL};
    int rc = joined_add(s, &row, err);
    rc = rc ? rc : joined_rewrite(s, THIRD, DAY(1), "{}", err);
    rc = rc ? rc : joined_move(s, 1, 2, err);
    return rc ? rc : joined_remove(s, THIRD, err);
}

DOES(attaches)
{
    const struct attached_row row = {.complaint_id = 1,
                                     .name = "loaf.jpg",
                                     .type = "image/jpeg",
                                     .sha256 = "00",
                                     .data = "x",
                                     .bytes = 1,
                                     .by_name = "jo",
                                     .user = "",
                                     .at_ms = DAY(2)};
    const struct attached_limits limits = {10, 10};
    int64_t id = 0;
    bool again;
    int rc = attached_put(s, &row, &limits, &id, &again, err);
    const struct attached_end end = {id, "jo", "another's", DAY(3)};
    return rc ? rc : attached_detach(s, &end, err);
}

DOES(mails)
{
    static const char *const TO[] = {"qa@mill.example"};
    const struct outbox_new mail = {.event = "urgent",
                                    .case_id = 1,
                                    .message_id = "<1@mill.example>",
                                    .payload = "{}",
                                    .created_ms = DAY(2)};
    const struct outbox_addresses addresses = {"urgent", TO, 1, true, NULL, NULL, NULL};
    struct outbox_delivery row[2] = {{0}};
    struct outbox_deliveries due = {row, 0, 2};
    int rc = outbox_add(s, &mail, err);
    rc = rc ? rc : outbox_address(s, &addresses, DAY(2), err);
    rc = rc ? rc : outbox_addressed(s, "urgent", true, err);
    rc = rc ? rc : outbox_due(s, true, DAY(3), &due, err);
    for (int i = 0; i < due.count; i++) {
        rc = rc ? rc : outbox_failed(s, &row[i], DAY(3), false, "away", err);
        rc = rc ? rc : outbox_sent(s, row[i].mail_id, row[i].recipient, DAY(4), err);
        outbox_delivery_free(&row[i]);
    }
    return rc;
}

DOES(sends_again)
{
    int count;
    return outbox_due_again(s, 0, DAY(3), &count, err);
}

DOES(erases)
{
    int erased;
    return contact_erase(s, "#5550123", DAY(9), &erased, err);
}

DOES(purges)
{
    int purged;
    return contact_purge(s, DAY(400), &purged, err);
}

DOES(drops_old)
{
    const struct retention rule = {1, 1, 1, 1, 1};
    int dropped;
    return retention_round(s, &rule, DAY(400), 10, &dropped, err);
}

DOES(queues)
{
    struct work_row row[4];
    struct work_rows due = {row, 0, 4};
    int rc = work_rank_open_cases(s, DAY(3), err);
    rc = rc ? rc : work_rank_since(s, 0, DAY(3), err);
    rc = rc ? rc : work_rank_by(s, "sha256:1", DAY(3), err);
    rc = rc ? rc : work_due(s, WORK_RANK, DAY(9), &due, err);
    for (int i = 0; i < due.count && !rc; i++)
        rc = i ? work_retry(s, WORK_RANK, &row[i], DAY(9), err)
               : work_done(s, WORK_RANK, &row[i], err);
    return rc;
}

DOES(acts)
{
    const struct action_row action = {.at_ms = DAY(3), .line = "1", .by_name = "qa"};
    struct action_row got;
    int64_t id;
    int rc = action_add(s, &action, &id, err);
    rc = rc ? rc : action_get(s, id, &got, err);
    return rc ? rc : action_list(s, an_action, NULL, err);
}

DOES(counts_anew)
{
    int rc = company_count_lot(s, 1, -1, err);
    rc = rc ? rc : company_count_lot(s, 1, 1, err);
    rc = rc ? rc : company_count_records_changed(s, err);
    return rc ? rc : record_find_touch_lot(s, 1, DAY(3), err);
}

/* ---- what is read ---- */

DOES(cases)
{
    const struct case_filter filter = {
        .since_ms = WHEN_UNKNOWN_MS, .urgent_first = true, .limit = 9};
    struct case_walk walk = {0};
    struct case_row row;
    struct store_ids ids = {.id = (int64_t[8]){0}, .capacity = 8};
    int64_t id;
    bool end, left;
    int rc = case_list(s, &filter, a_case, NULL, err);
    rc = rc ? rc : case_of_lot(s, 1, a_case, NULL, err);
    rc = rc ? rc : case_ids_after(s, 0, &ids, err);
    rc = rc ? rc : case_moved_here(s, 1, &ids, err);
    rc = rc ? rc : case_left_settled(s, 1, &left, err);
    rc = rc ? rc : case_of_uuid(s, FIRST, &id, err);
    rc = rc ? rc : case_get(s, 1, &row, err);
    for (end = false; !rc && !end;)
        rc = case_walk_next(s, &walk, &end, err);
    return rc;
}

DOES(complaints)
{
    struct complaint_lots lots;
    int64_t ms;
    int rc = complaint_of_case(s, 1, a_complaint, NULL, err);
    rc = rc ? rc : complaint_by_uuid(s, FIRST, a_complaint, NULL, err);
    rc = rc ? rc : complaint_by_id(s, 1, a_complaint, NULL, err);
    rc = rc ? rc : complaint_newest_of_case(s, 1, 2, a_complaint, NULL, err);
    rc = rc ? rc : complaint_surest_of_case(s, 1, a_complaint, NULL, err);
    rc = rc ? rc : complaint_between(s, EVER, 9, a_complaint, NULL, err);
    rc = rc ? rc : complaint_lots_of(s, 1, &lots, err);
    rc = rc ? rc : complaint_place_first(s, 1, &ms, err);
    return rc ? rc : change_of(s, FIRST, a_change, NULL, err);
}

DOES(contacts)
{
    char *json = NULL;
    int rc = contact_get(s, 1, "", &json, err);
    free(json);
    json = NULL;
    rc = rc ? rc : contact_of_report(s, FIRST, &json, err);
    free(json);
    rc = rc ? rc : contact_callers(s, 1, 1, a_body, NULL, err);
    rc = rc ? rc : contact_of_code(s, "L1", a_body, NULL, err);
    rc = rc ? rc : contact_group(s, FIRST, a_body, NULL, err);
    rc = rc ? rc : contact_of_complaint(s, 1, a_body, NULL, err);
    return rc ? rc : contact_about(s, "1", "rope", a_body, NULL, err);
}

DOES(calls)
{
    const struct call_back_query query = {0, WHEN_UNKNOWN_DAY, 9};
    int64_t count;
    bool possible;
    int rc = call_back_waiting(s, &query, a_call, NULL, err);
    rc = rc ? rc : call_back_count(s, 10, NULL, &count, err);
    rc = rc ? rc : call_back_none_yet(s, 1, a_report, NULL, err);
    rc = rc ? rc : call_back_possible(s, FIRST, &possible, err);
    rc = rc ? rc : call_back_unreachable_count(s, DAY(9), &count, err);
    return rc ? rc : call_back_unreachable(s, 9, a_lost_one, NULL, err);
}

DOES(finds)
{
    const struct entry_filter filter = {.words = "sour", .since_ms = WHEN_UNKNOWN_MS, .limit = 9};
    const struct written_filter written = {.words = "wet", .since_ms = WHEN_UNKNOWN_MS, .limit = 9};
    char uuids[2][UUID_TEXT], begins[UUID_TEXT];
    int count;
    int rc = entry_find(s, &filter, a_found, NULL, err);
    rc = rc ? rc : entry_find_named(s, "0199", uuids, 2, &count, err);
    rc = rc ? rc : entry_find_beginning(s, FIRST, begins, err);
    rc = rc ? rc : entry_each_after(s, 0, 9, an_entry, NULL, err);
    rc = rc ? rc : entry_each_of(s, 1, an_entry, NULL, err);
    rc = rc ? rc : entry_each_without(s, 9, an_entry, NULL, err);
    for (int kind = 0; !rc && kind < WRITTEN_KINDS; kind++)
        rc = written_find(s, (enum written_kind)kind, &written, a_word, NULL, err);
    return rc;
}

DOES(followed)
{
    struct follow_row row;
    int64_t count;
    int rc = follow_get(s, 1, &row, err);
    rc = rc ? rc : follow_entries(s, 1, a_follow, NULL, err);
    rc = rc ? rc : follow_overdue(s, &(struct follow_late){99, 9, NULL}, a_late_case, NULL, err);
    rc = rc ? rc : follow_overdue_count(s, &(struct follow_late){99, 9, NULL}, &count, err);
    for (int stage = 0; !rc && stage < STAGES; stage++) {
        rc = stage_took(s, (enum stage)stage, &(struct stage_of){EVER, NULL}, a_time, NULL, err);
        rc = rc ? rc : stage_waiting(s, (enum stage)stage, NULL, &count, err);
    }
    return rc;
}

DOES(happened)
{
    int rc = history_read(s, HISTORY_CASE, 1, an_event, NULL, err);
    rc = rc ? rc : history_read(s, HISTORY_COMPLAINT, 1, an_event, NULL, err);
    rc = rc ? rc : history_read(s, HISTORY_LOT, 1, an_event, NULL, err);
    rc = rc ? rc : noted_about(s, 1, "L1", a_note, NULL, err);
    rc = rc ? rc : open_harm_of_lot(s, &OF_LOT, a_harm, NULL, err);
    rc = rc ? rc : open_harm_of_lot(s, &OF_CODE, a_harm, NULL, err);
    rc = rc ? rc : open_harm_of_case(s, 1, a_harm, NULL, err);
    rc = rc ? rc : open_harm_count(s, &(struct open_harm_counts){0}, err);
    rc = rc ? rc : verdict_between(s, EVER, a_verdict, NULL, err);
    return rc ? rc : verdict_of_case(s, 1, a_verdict, NULL, err);
}

DOES(held)
{
    struct text_buffer gone = {0};
    int rc = hold_each_of(s, &OF_LOT, a_hold, NULL, err);
    rc = rc ? rc : hold_each_standing(s, DAY(9), a_hold, NULL, err);
    rc = rc ? rc : hold_gone(s, &OF_LOT, &gone, err);
    text_buffer_free(&gone);
    rc = rc ? rc : attached_of(s, 1, 0, a_file, NULL, err);
    rc = rc ? rc : joined_of(s, 1, a_joined, NULL, err);
    rc = rc ? rc : joined_of_case(s, 1, a_joined, NULL, err);
    rc = rc ? rc : measured_in_words(s, EVER, a_result_of_a_lot, NULL, err);
    return rc ? rc : measured_of_lot(s, 1, a_result, NULL, err);
}

DOES(lots)
{
    struct lot_find_row row[4], one;
    struct lot_find_rows rows = {.row = row, .capacity = 4};
    const struct lot_find_where where = {.code_day = WHEN_UNKNOWN_DAY, .packed = EVER, .limit = 9};
    struct lot_find_sent sent;
    struct lot_find_volume volume;
    int64_t first, newest, may_be;
    bool more;
    int rc = lot_find_by_id(s, 1, &one, err);
    rc = rc ? rc : lot_find_by_code(s, "L1", &one, err);
    rc = rc ? rc : lot_find_by_fold(s, "L1", 4, &rows, err);
    rc = rc ? rc : lot_find_each_key(s, &where, a_key, NULL, &more, err);
    rc = rc ? rc : lot_find_sent(s, 1, "S1", NULL, &sent, err);
    rc = rc ? rc : lot_find_span(s, &first, &newest, err);
    rc = rc ? rc : lot_find_volume(s, DAY(9), &volume, err);
    rc = rc ? rc : lot_around_line(s, 1, 3, a_lot, NULL, err);
    return rc ? rc : lot_around_may_be(s, 1, &may_be, err);
}

DOES(records)
{
    const struct retained_scope scope = {"mold_free_days", EVER, 9};
    int blamed;
    bool any;
    int rc = record_gaps_list(s, &(struct record_gaps_of){EVER, NULL}, a_gap, NULL, err);
    rc = rc ? rc : retained_samples(s, &scope, a_sample, NULL, &blamed, err);
    rc = rc ? rc : returns_received(s, EVER, a_return, NULL, err);
    rc = rc ? rc : returns_dispatched(s, EVER, a_sent, NULL, err);
    return rc ? rc : returns_any(s, "", &any, err);
}

DOES(rankings)
{
    struct ranking ranking = {0};
    int rc = ranking_get(s, 1, 0, &ranking, err);
    ranking_clear(&ranking);
    struct recount found;
    return rc ? rc : recount(s, &found, err);
}

DOES(waiting_mails)
{
    struct outbox_counts counts;
    bool is;
    int rc = outbox_count(s, &counts, err);
    rc = rc ? rc : outbox_list(s, false, 9, a_mail, NULL, err);
    rc = rc ? rc : outbox_list(s, true, 9, a_mail, NULL, err);
    rc = rc ? rc : outbox_about(s, 1, FIRST, a_payload, NULL, err);
    rc = rc ? rc : outbox_has_new(s, "urgent", &is, err);
    rc = rc ? rc : outbox_doubtful(s, DAY(9), &is, err);
    return rc ? rc : outbox_urgent_stuck(s, DAY(9), &is, err);
}

/* ---- */

struct asked {
    struct store *store;
    int (*does)(struct store *store, struct error *err);
};

static int ask(void *arg, struct error *err)
{
    const struct asked *a = arg;
    return a->does(a->store, err);
}

/* Case 1: of lot 1, settled, mailed, held; case 2: its lot is open. */
static void fill(struct fixture *f)
{
    struct complaint_placed placed;
    struct complaint_new first = fixture_complaint(FIRST, 1), second = fixture_complaint(SECOND, 0);
    first.contact = "{\"phone\":\"555 0123\"}";
    first.contact_fold = "#5550123";
    first.note = "sour";
    assert_int_equal(complaint_log(f->store, &first, &placed, NULL), 0);
    assert_int_equal(complaint_log(f->store, &second, &placed, NULL), 0);
    struct ranking_cause causes[] = {{"packed-hot", .8}, {"not-known", .2}};
    struct ranking ranking = {
        .case_id = 1, .complaints = 1, .rules = "r", .causes = causes, .cause_count = 2};
    assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
    const struct verdict_new verdict = {1, DAY(2), "rope", "assay", "", "qa"};
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    const struct hold_entry entry = {"wet", "qa", "", 1, DAY(1), .still_about = false};
    bool stood;
    assert_int_equal(hold_add(f->store, &OF_LOT, &entry, &stood, NULL), 0);
    assert_int_equal(pattern_set_up(f->store, NULL, NULL), 0);
}

static void what_the_disk_fails_at_is_told(void **state)
{
#define NAMED(name)                                                                                \
    {                                                                                              \
#name, name                                                                                \
    }
    static const struct {
        const char *name;
        int (*does)(struct store *, struct error *);
    } DONE[] = {
        NAMED(logs),          NAMED(rewrites), NAMED(withdraws),  NAMED(takes_out),
        NAMED(moves),         NAMED(doubts),   NAMED(changes),    NAMED(calls_back),
        NAMED(follows),       NAMED(holds),    NAMED(frees),      NAMED(settles),
        NAMED(reopens),       NAMED(ranks),    NAMED(measures),   NAMED(joins),
        NAMED(attaches),      NAMED(mails),    NAMED(erases),     NAMED(purges),
        NAMED(sends_again),   NAMED(queues),   NAMED(acts),       NAMED(counts_anew),
        NAMED(drops_old),     NAMED(cases),    NAMED(complaints), NAMED(contacts),
        NAMED(calls),         NAMED(finds),    NAMED(followed),   NAMED(happened),
        NAMED(held),          NAMED(lots),     NAMED(records),    NAMED(rankings),
        NAMED(waiting_mails),
    };
    struct fixture *f = *state;
    fill(f);
    for (size_t i = 0; i < COUNT_OF(DONE); i++) {
        struct asked a = {f->store, DONE[i].does};
        failing_check(f->store, ask, &a, DONE[i].name, 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_the_disk_fails_at_is_told, fixture_open,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
