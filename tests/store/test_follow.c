/* How cases are followed up: what is kept, two cases that become one, who is to be called back,
 * what is overdue, and how long each stage took. */
#include "fixture.h"
#include "store/call_back.h"
#include "store/follow.h"
#include "store/open_harm.h"
#include "store/seen.h"
#include "store/stage.h"

#define DAY(n) ((n)*WHEN_DAY_MS)

/* Case 1: two complaints, one of them joined to by a report; case 2 moved to it; 3 settled; 4
 * settled, and harm came since; 5 empty. */
static const char ROWS[] =
    "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs, harm, state,"
    " moved_to, harm_unseen) VALUES(1, 'mold', 0, 0, 2, 2, 0, 'open', NULL, 0),"
    " (2, 'mold', 0, 0, 0, 0, 0, 'moved', 1, 0), (3, 'mold', 0, 0, 1, 1, 0, 'settled', NULL, 0),"
    " (4, 'mold', 0, 0, 1, 1, 1, 'settled', NULL, 1), (5, 'mold', 0, 0, 0, 0, 0, 'empty', NULL, 0);"
    "INSERT INTO complaint(id, uuid, received_ms, logged_ms, channel, symptom, case_id, body,"
    " withdrawn_ms) VALUES(1, 'u1', 0, 86400000, 'phone', 'mold', 1, '{}', NULL),"
    " (2, 'u2', 0, 172800000, 'phone', 'mold', 1, '{}', NULL),"
    " (3, 'u3', 0, 0, 'phone', 'mold', 3, '{}', NULL), (4, 'u4', 0, 0, 'phone', 'mold', 5, '{}', "
    "9);"
    "INSERT INTO joined(id, uuid, complaint_id, received_ms, logged_ms, joined_ms, body)"
    " VALUES(1, 'j1', 1, 0, 0, 0, '{}');"
    "INSERT INTO contact(id, complaint_id, report, body, purge_after_ms) VALUES(1, 1, '', '{}', 0),"
    " (2, 1, 'j1', '{}', 0), (3, 2, '', '{}', 0), (4, 4, '', '{}', 0), (5, 3, '', '{}', 0);"
    "INSERT INTO contact_key VALUES('#1010', 1, 0), ('b@c.example', 2, 0), ('#3', 3, 1),"
    " ('#4', 4, 0), ('#5', 5, 0)"; /* of u2 only a text's words */

static int setup(void **state)
{
    return fixture_with(state, ROWS);
}

static struct follow_row put(struct fixture *f, int64_t case_id, int by_rule, const char *owner,
                             int32_t due_day)
{
    struct follow_row row = {.case_id = case_id,
                             .since_ms = DAY(1),
                             .by_rule = by_rule,
                             .set_to = FOLLOW_NOT_SET,
                             .due_day = due_day};
    text_clip(owner, row.owner, sizeof row.owner);
    assert_int_equal(follow_put(f->store, &row, NULL), 0);
    return row;
}

static struct follow_row get(struct fixture *f, int64_t case_id)
{
    struct follow_row row;
    assert_int_equal(follow_get(f->store, case_id, &row, NULL), 0);
    return row;
}

static int64_t add(struct fixture *f, int64_t case_id, const char *what, const char *report,
                   int64_t at_ms)
{
    int64_t id = 0;
    const struct follow_entry entry = {.case_id = case_id,
                                       .at_ms = at_ms,
                                       .what = what,
                                       .report = report,
                                       .was = "",
                                       .now = "x",
                                       .text = "",
                                       .by_name = "mira",
                                       .user = "m"};
    assert_int_equal(follow_add(f->store, &entry, &id, NULL), 0);
    return id;
}

/* ---- harm that waits for somebody ---- */

static void harm(struct fixture *f, int64_t unowned, int64_t unread)
{
    struct open_harm_counts open;
    assert_int_equal(open_harm_count(f->store, &open, NULL), 0);
    assert_int_equal(open.unowned, unowned);
    assert_int_equal(open.unread, unread);
}

/* Case 4 reports it, since it was settled; words of case 1 may be it, weighed or not. Of a plant,
 * what is of that plant. */
static void test_open_harm_is_counted_until_somebody_has_it(void **state)
{
    static const char UNWEIGHED[] =
        "UPDATE complaint SET body = '{\"harm_possible\":true}' WHERE id = 1;"
        "INSERT INTO work(kind, subject_id, due_ms) VALUES('rank', 1, 0)"; /* as it is logged */
    static const char READ[] = "UPDATE complaint SET body = '{}' WHERE id = 1";
    struct fixture *f = *state;
    harm(f, 1, 0);
    put(f, 4, 3, "", 20);
    harm(f, 1, 0);
    fixture_write(f, UNWEIGHED);
    harm(f, 1, 1);
    struct follow_row row = put(f, 1, 0, "mira", 20);
    harm(f, 1, 1); /* weighed before it said so, and to be weighed again */
    fixture_write(f, "UPDATE work SET kind = 'bulk'");
    harm(f, 1, 1);
    fixture_write(f, READ);
    harm(f, 1, 0);
    row.may_harm = true;
    assert_int_equal(follow_put(f->store, &row, NULL), 0);
    harm(f, 1, 0); /* somebody has read it since */
    fixture_write(f, "UPDATE work SET kind = 'again'");
    harm(f, 1, 1);
    fixture_write(f, "DELETE FROM work");
    harm(f, 1, 1);
    seen_set(f->store, &(struct seen_plants){.count = 1, .plant = {"Mill"}, .user = ""});
    harm(f, 0, 0);
    fixture_write(f, "UPDATE complaint_case SET plant = 'Mill' WHERE id = 4");
    harm(f, 1, 0);
    seen_set(f->store, NULL);
    put(f, 4, 3, "mira", 20);
    harm(f, 0, 1);
    fixture_write(f, "UPDATE complaint_case SET state = 'settled'");
    harm(f, 0, 0);
}

/* ---- how it stands ---- */

static void test_what_is_put_is_got(void **state)
{
    struct fixture *f = *state;
    struct follow_row row = get(f, 1);
    assert_true(row.since_ms == WHEN_UNKNOWN_MS && row.due_day == WHEN_UNKNOWN_DAY);
    assert_int_equal(row.set_to, FOLLOW_NOT_SET);
    row = put(f, 1, 2, "mira", 20);
    row.set_to = 0;
    row.may_harm = true;
    row.due_day = WHEN_UNKNOWN_DAY;
    assert_int_equal(follow_put(f->store, &row, NULL), 0);
    struct follow_row again = get(f, 1);
    assert_int_equal(again.by_rule, 2);
    assert_int_equal(follow_severity(&again), 0);
    assert_true(again.may_harm && again.due_day == WHEN_UNKNOWN_DAY);
    assert_string_equal(again.owner, "mira");
    assert_int_equal(again.since_ms, DAY(1));
}

static int count_entry(void *arg, const struct follow_entry *entry)
{
    (void)entry;
    ++*(int *)arg;
    return 0;
}

static int entries(struct fixture *f, int64_t case_id)
{
    int count = 0;
    assert_int_equal(follow_entries(f->store, case_id, count_entry, &count, NULL), 0);
    return count;
}

static void test_one_that_was_never_weighed_takes_all_of_the_one_that_moves(void **state)
{
    struct fixture *f = *state;
    put(f, 2, 3, "jo", 15);
    add(f, 2, "noted", "", 5);
    assert_int_equal(follow_moved(f->store, 2, 1, DAY(3), NULL), 0);
    struct follow_row row = get(f, 1);
    assert_string_equal(row.owner, "jo");
    assert_int_equal(row.by_rule, 3);
    assert_int_equal(row.due_day, 15);
    assert_int_equal(entries(f, 1), 1); /* that of the case which moved, told with it */
}

static void test_one_that_has_an_owner_keeps_them_and_the_sooner_day(void **state)
{
    struct fixture *f = *state;
    put(f, 2, 3, "jo", 15);
    put(f, 1, 1, "mira", 20);
    assert_int_equal(follow_moved(f->store, 2, 1, DAY(3), NULL), 0);
    struct follow_row row = get(f, 1);
    assert_string_equal(row.owner, "mira");
    assert_int_equal(row.due_day, 15);
    assert_int_equal(row.by_rule, 1);   /* weighed anew when it is ranked */
    assert_int_equal(entries(f, 1), 1); /* the day that moved */
    put(f, 1, 1, "mira", 10);
    assert_int_equal(follow_moved(f->store, 2, 1, DAY(3), NULL), 0);
    assert_int_equal(get(f, 1).due_day, 10);
}

static void test_one_that_nobody_owns_takes_the_owner(void **state)
{
    struct fixture *f = *state;
    put(f, 2, 3, "jo", WHEN_UNKNOWN_DAY);
    put(f, 1, 1, "", 20);
    assert_int_equal(follow_moved(f->store, 2, 1, DAY(3), NULL), 0);
    assert_string_equal(get(f, 1).owner, "jo");
    assert_int_equal(get(f, 1).due_day, 20);
}

/* ---- what is overdue ---- */

struct listed {
    int64_t id[8];
    int count;
};

static int list_case(void *arg, const struct follow_row *row)
{
    struct listed *l = arg;
    l->id[l->count++] = row->case_id;
    return 0;
}

static void test_open_cases_are_overdue_the_most_severe_first(void **state)
{
    struct fixture *f = *state;
    struct listed l = {0};
    int64_t count = 0;
    put(f, 1, 2, "", 19);
    put(f, 3, 3, "", 10); /* settled */
    put(f, 4, 0, "", 19); /* settled, but harm came since: urgent, whatever it was weighed */
    put(f, 5, 3, "", 10); /* no complaints */
    assert_int_equal(
        follow_overdue(f->store, &(struct follow_late){20, 8, NULL}, list_case, &l, NULL), 0);
    assert_int_equal(l.count, 2);
    assert_int_equal(l.id[0], 4);
    assert_int_equal(l.id[1], 1);
    assert_int_equal(
        follow_overdue_count(f->store, &(struct follow_late){20, 0, NULL}, &count, NULL), 0);
    assert_int_equal(count, 2);
    assert_int_equal(
        follow_overdue_count(f->store, &(struct follow_late){19, 0, NULL}, &count, NULL),
        0); /* due that day is in time */
    assert_int_equal(count, 0);
}

/* ---- who is to be called back ---- */

struct calls {
    char report[4][8];
    int64_t case_id;
    int count;
};

static int list_call(void *arg, const struct call_back_row *row)
{
    struct calls *c = arg;
    text_clip(row->report, c->report[c->count++], sizeof c->report[0]);
    c->case_id = row->case_id;
    return 0;
}

static struct calls waiting(struct fixture *f, int64_t case_id, int32_t until)
{
    struct calls calls = {0};
    int64_t count = 0;
    const struct call_back_query query = {case_id, until, 4};
    assert_int_equal(call_back_waiting(f->store, &query, list_call, &calls, NULL), 0);
    assert_int_equal(call_back_count(f->store, until, NULL, &count, NULL), 0);
    assert_true(case_id || count == calls.count);
    return calls;
}

static void ask(struct fixture *f, const char *report, int32_t day)
{
    int64_t entry = add(f, 1, "call-back", report, DAY(2));
    assert_int_equal(call_back_ask(f->store, report, day, entry, NULL), 0);
}

static void test_callers_wait_until_they_are_answered(void **state)
{
    struct fixture *f = *state;
    ask(f, "u1", 20);
    ask(f, "j1", 10);
    struct calls calls = waiting(f, 0, WHEN_UNKNOWN_DAY);
    assert_int_equal(calls.count, 2);
    assert_string_equal(calls.report[0],
                        "j1"); /* soonest first, of the case of what it is joined to */
    assert_int_equal(calls.case_id, 1);
    assert_int_equal(waiting(f, 0, 15).count, 1);
    assert_int_equal(waiting(f, 3, WHEN_UNKNOWN_DAY).count, 0);
    ask(f, "u1", 5); /* asked again: one call, another day */
    calls = waiting(f, 1, WHEN_UNKNOWN_DAY);
    assert_int_equal(calls.count, 2);
    assert_string_equal(calls.report[0], "u1");
    assert_int_equal(call_back_answer(f->store, "u1", add(f, 1, "answered", "u1", DAY(3)), NULL),
                     0);
    assert_int_equal(waiting(f, 0, WHEN_UNKNOWN_DAY).count, 1);
    ask(f, "u1", 30); /* and again later */
    assert_int_equal(waiting(f, 0, WHEN_UNKNOWN_DAY).count, 2);
}

static void test_nobody_is_called_whom_nobody_knows(void **state)
{
    struct fixture *f = *state;
    bool possible = true;
    assert_int_equal(call_back_possible(f->store, "u1", &possible, NULL), 0);
    assert_true(possible);
    assert_int_equal(call_back_possible(f->store, "u2", &possible, NULL), 0);
    assert_false(possible); /* a name in a text is not who called */
    assert_int_equal(call_back_possible(f->store, "j1", &possible, NULL), 0);
    assert_true(possible);
    ask(f, "u1", 20);
    ask(f, "u2", 20);
    ask(f, "u4", 20); /* withdrawn */
    ask(f, "u3", 20); /* of a settled case: who was promised a call gets it */
    assert_int_equal(waiting(f, 0, WHEN_UNKNOWN_DAY).count, 2);
    assert_string_equal(waiting(f, 0, WHEN_UNKNOWN_DAY).report[0], "u1");
    assert_int_equal(db_exec(f->store, "UPDATE complaint SET harm = 1 WHERE uuid = 'u3'", NULL), 0);
    assert_string_equal(waiting(f, 0, WHEN_UNKNOWN_DAY).report[0], "u3"); /* harm first */
    assert_int_equal(db_exec(f->store, "DELETE FROM contact WHERE id = 1", NULL), 0);
    struct calls calls = waiting(f, 0, WHEN_UNKNOWN_DAY);
    assert_int_equal(calls.count, 1);
    assert_string_equal(calls.report[0], "u3");
}

static int list_lost(void *arg, const char *complaint, int64_t complaint_id, int64_t case_id)
{
    struct calls *c = arg;
    (void)complaint_id;
    assert_int_equal(case_id, 1);
    text_clip(complaint, c->report[c->count++], sizeof c->report[0]);
    return 0;
}

static void test_who_left_no_number_is_named(void **state)
{
    struct fixture *f = *state;
    struct calls lost = {0};
    bool possible = true;
    static const char SQL[] = "UPDATE complaint SET harm = 1 WHERE id IN (1, 3);"
                              "UPDATE contact_key SET key = 'ann' WHERE contact_id = 1";
    assert_int_equal(db_exec(f->store, SQL, NULL), 0);
    assert_int_equal(call_back_possible(f->store, "u1", &possible, NULL), 0);
    assert_false(possible); /* a name calls nobody */
    assert_int_equal(call_back_unreachable(f->store, 9, list_lost, &lost, NULL), 0);
    assert_int_equal(lost.count, 1); /* u3 left one, and its case is settled */
    assert_string_equal(lost.report[0], "u1");
    ask(f, "u1", 20);
    assert_int_equal(call_back_answer(f->store, "u1", add(f, 1, "answered", "u1", DAY(3)), NULL),
                     0);
    lost.count = 0;
    assert_int_equal(call_back_unreachable(f->store, 9, list_lost, &lost, NULL), 0);
    assert_int_equal(lost.count, 0);
}

static int list_report(void *arg, const char *report)
{
    struct calls *c = arg;
    text_clip(report, c->report[c->count++], sizeof c->report[0]);
    return 0;
}

static void test_the_rules_ask_for_each_caller_once(void **state)
{
    struct fixture *f = *state;
    struct calls calls = {0};
    assert_int_equal(call_back_none_yet(f->store, 1, list_report, &calls, NULL), 0);
    assert_int_equal(calls.count, 2); /* u1 and j1; of u2 nobody is known */
    ask(f, "u1", 20);
    assert_int_equal(call_back_answer(f->store, "u1", add(f, 1, "answered", "u1", DAY(3)), NULL),
                     0);
    calls.count = 0;
    assert_int_equal(call_back_none_yet(f->store, 1, list_report, &calls, NULL), 0);
    assert_int_equal(calls.count, 1);
    assert_string_equal(calls.report[0], "j1");
}

/* ---- stages ---- */

static int add_took(void *arg, int64_t took_ms)
{
    struct listed *l = arg;
    l->id[l->count++] = took_ms / WHEN_DAY_MS;
    return 0;
}

static struct listed took(struct fixture *f, enum stage stage, int64_t from_ms, int64_t to_ms)
{
    struct listed l = {0};
    const struct stage_of of = {{from_ms, to_ms}, NULL};
    assert_int_equal(stage_took(f->store, stage, &of, add_took, &l, NULL), 0);
    return l;
}

static void test_each_stage_is_from_one_to_the_next(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    put(f, 1, 2, "jo", 30);
    put(f, 3, 2, "mira", 30);
    add(f, 1, "owner", "", DAY(3));
    add(f, 1, "owner", "", DAY(9)); /* another one: not the first */
    add(f, 3, "owner", "", DAY(2));
    add(f, 1, "answered", "u1", DAY(4));
    add(f, 1, "answered", "u1", DAY(8)); /* told more later */
    assert_int_equal(db_exec(f->store,
                             "INSERT INTO verdict(id, case_id, cause, confirmed_by, by_name, at_ms,"
                             " revision) VALUES(1, 3, 'rope', 'assay', 'qa', 604800000, 1)",
                             &err),
                     0);
    struct listed l = took(f, STAGE_TAKEN_IN, 0, DAY(99));
    assert_int_equal(l.count, 3); /* not the withdrawn one */
    assert_int_equal(l.id[0] + l.id[1] + l.id[2], 1 + 2 + 0);
    l = took(f, STAGE_OWNED, 0, DAY(99));
    assert_int_equal(l.count, 2);
    assert_int_equal(l.id[0] + l.id[1], 2 + 1);
    l = took(f, STAGE_FOUND, 0, DAY(99));
    assert_int_equal(l.count, 1);
    assert_int_equal(l.id[0], 5);
    l = took(f, STAGE_ANSWERED, 0, DAY(99));
    assert_int_equal(l.count, 1);
    assert_int_equal(l.id[0], 3);
    l = took(f, STAGE_SETTLED, 0, DAY(99));
    assert_int_equal(l.count, 1);
    assert_int_equal(l.id[0], 7);
    assert_int_equal(took(f, STAGE_SETTLED, 0, DAY(7)).count, 0);
    assert_int_equal(took(f, STAGE_SETTLED, DAY(7), DAY(8)).count, 1);
}

static void test_what_waits_in_each_stage(void **state)
{
    struct fixture *f = *state;
    static const int64_t WAITING[STAGES] = {-1, 1, 1, 1, 2};
    put(f, 1, 2, "jo", 30);
    put(f, 3, 2, "mira", 30); /* settled: waits for nothing */
    ask(f, "j1", 10);
    for (int stage = 0; stage < STAGES; stage++) {
        int64_t count = -2;
        assert_int_equal(stage_waiting(f->store, (enum stage)stage, NULL, &count, NULL), 0);
        assert_int_equal(count, WAITING[stage]); /* cases 1 and 4 are open */
    }
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, setup, fixture_close)
    const struct CMUnitTest tests[] = {
        TEST(open_harm_is_counted_until_somebody_has_it),
        TEST(what_is_put_is_got),
        TEST(one_that_was_never_weighed_takes_all_of_the_one_that_moves),
        TEST(one_that_has_an_owner_keeps_them_and_the_sooner_day),
        TEST(one_that_nobody_owns_takes_the_owner),
        TEST(open_cases_are_overdue_the_most_severe_first),
        TEST(callers_wait_until_they_are_answered),
        TEST(nobody_is_called_whom_nobody_knows),
        TEST(who_left_no_number_is_named),
        TEST(nobody_is_called_whom_nobody_knows),
        TEST(who_left_no_number_is_named),
        TEST(the_rules_ask_for_each_caller_once),
        TEST(each_stage_is_from_one_to_the_next),
        TEST(what_waits_in_each_stage),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
