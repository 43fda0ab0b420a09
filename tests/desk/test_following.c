/* Following a case up: what a person changes, what that is refused for, what the rules move, whom
 * it is about and what is overdue. By the shipped severity.json. */
#include "desk/call_backs.h"
#include "desk/following.h"
#include "fixture.h"
#include "rank/triage.h"
#include "rules/severity.h"
#include "store/call_back.h"
#include "store/hold.h"
#include "store/ranking.h"
#include "store/verdict.h"
#include <unistd.h>

#define TODAY 20777 /* 2026-11-20 in the plant */

static int with_cases(void **state)
{
    struct fixture *f = *state;
    struct severity_rules *rules = NULL;
    assert_int_equal(
        severity_load(ODDLOAF_SOURCE_DIR "/rules/severity.json", NULL, NULL, &rules, NULL), 0);
    fixture_begin(f);
    f->desk.severity = rules;
    assert_int_equal(tz_day(f->tz, f->now_ms), TODAY);
    fixture_log(f, FIRST, "{'contact':{'phone':'555 0123'}}");
    fixture_log(f, SECOND, "{'lot_text':'L2 6318 A0400','harm':['illness']}");
    return 0;
}

static int without(void **state)
{
    struct fixture *f = *state;
    severity_free((struct severity_rules *)(uintptr_t)f->desk.severity);
    f->desk.severity = NULL;
    fixture_end(f, false);
    return 0;
}

static struct following_change change_of(const struct fixture *f, int64_t case_id)
{
    return (struct following_change){.case_id = case_id,
                                     .who = {"ada", "a", f->now_ms},
                                     .set_to = FOLLOW_NOT_SET,
                                     .due_day = WHEN_UNKNOWN_DAY,
                                     .call_back_day = WHEN_UNKNOWN_DAY};
}

static void change(struct fixture *f, const struct following_change *change)
{
    struct error err = {0};
    if (following_change(&f->desk, f->store, change, &err))
        fail_msg("%s", err.text);
}

static void refused(struct fixture *f, const struct following_change *change, const char *why)
{
    struct error err = {0};
    assert_int_equal(following_change(&f->desk, f->store, change, &err), ERROR_CONFLICT);
    if (!strstr(err.text, why))
        fail_msg("%s", err.text);
    assert_true(*err.hint);
}

static struct follow_row row_of(struct fixture *f, int64_t case_id)
{
    struct follow_row row = {0};
    assert_int_equal(follow_get(f->store, case_id, &row, NULL), 0);
    return row;
}

struct last {
    int count;
    char what[16], was[32], now[32], text[64], by[16];
};

static int take_last(void *arg, const struct follow_entry *entry)
{
    struct last *last = arg;
    last->count++;
    snprintf(last->what, sizeof last->what, "%s", entry->what);
    snprintf(last->was, sizeof last->was, "%s", entry->was);
    snprintf(last->now, sizeof last->now, "%s", entry->now);
    snprintf(last->text, sizeof last->text, "%s", entry->text);
    snprintf(last->by, sizeof last->by, "%s", entry->by_name);
    return 0;
}

static struct last entries(struct fixture *f, int64_t case_id)
{
    struct last last = {0};
    assert_int_equal(follow_entries(f->store, case_id, take_last, &last, NULL), 0);
    return last;
}

static void an_entry(struct fixture *f, int64_t case_id, const char *expected)
{
    char got[256];
    const struct last last = entries(f, case_id);
    snprintf(got, sizeof got, "%d %s %s>%s %s %s", last.count, last.what, last.was, last.now,
             last.by, last.text);
    assert_string_equal(got, expected);
}

static void a_person_owns_it_and_sets_its_day(void **state)
{
    struct fixture *f = *state;
    struct following_change c = change_of(f, 1);
    c.owner = "ada";
    change(f, &c);
    assert_string_equal(row_of(f, 1).owner, "ada");
    an_entry(f, 1, "1 owner >ada ada ");
    change(f, &c); /* the same again is nothing */
    assert_int_equal(entries(f, 1).count, 1);
    const int32_t by_rule = row_of(f, 1).due_day;
    assert_true(by_rule > TODAY);
    c = change_of(f, 1);
    c.due = true;
    c.due_day = TODAY;
    change(f, &c);
    assert_int_equal(row_of(f, 1).due_day, TODAY);
    const struct last last = entries(f, 1);
    assert_int_equal(last.count, 2);
    assert_string_equal(last.what, "due");
    assert_string_equal(last.now, "2026-11-20");
    change(f, &c);
    assert_int_equal(entries(f, 1).count, 2);
    c.due_day = TODAY - 1;
    refused(f, &c, "is over in the plant: it is 2026-11-20 there");
    c.reason = "agreed so";
    change(f, &c);
    an_entry(f, 1, "3 due 2026-11-20>2026-11-19 ada agreed so");
    c.due_day = WHEN_UNKNOWN_DAY;
    change(f, &c);
    an_entry(f, 1, "4 due 2026-11-19> ada agreed so");
    c = change_of(f, 1);
    c.note = "looked at";
    change(f, &c);
    an_entry(f, 1, "5 noted > ada looked at");
}

/* At a plant with a severity.json of its own: how severe, by when it is due, and why. */
static void a_case_is_weighed_by_its_plants_severity(void **state)
{
    struct fixture *f = *state;
    struct severity_rules *company = (struct severity_rules *)(uintptr_t)f->desk.severity;
    char path[] = "/tmp/oddloaf-severity-XXXXXX";
    json_t *file = json_load_file(ODDLOAF_SOURCE_DIR "/rules/severity.json", 0, NULL), *told = NULL;
    json_t *points = json_object_get(file, "points"), *levels = json_object_get(file, "levels");
    json_object_set_new(json_object_get(points, "complaints"), "steps", json_pack("[[i,i]]", 1, 4));
    json_object_set_new(json_object_get(levels, "high"), "due_days", json_integer(2));
    close(mkstemp(path));
    assert_int_equal(json_dump_file(file, path, 0), 0);
    json_decref(file);
    assert_int_equal(severity_add_plant(company, "north", path, NULL, NULL, NULL), 0);
    unlink(path);
    for (int north = 0; north < 2; north++) {
        struct following_change c = change_of(f, 1);
        const struct following_view view = {.now_ms = f->now_ms};
        char sql[80];
        snprintf(sql, sizeof sql, "UPDATE complaint_case SET plant = '%s' WHERE id = 1",
                 north ? "north" : "south");
        assert_int_equal(db_exec(f->store, sql, NULL), 0);
        c.note = "looked at";
        change(f, &c);
        assert_int_equal(following_weigh(&f->desk, f->store, 1, false, f->now_ms, NULL), 0);
        const struct follow_row row = row_of(f, 1);
        assert_int_equal(row.by_rule >= SEVERITY_HIGH, north);
        if (north)
            assert_int_equal(row.due_day, TODAY + 2);
        else
            assert_true(row.due_day > TODAY + 2);
        assert_int_equal(following_json(&f->desk, f->store, 1, &view, &told, NULL), 0);
        size_t i;
        const json_t *one;
        json_array_foreach(json_object_get(json_object_get(told, "working"), "working"), i, one)
        {
            if (strcmp(json_string_value(json_object_get(one, "fact")), "complaints") == 0)
                assert_int_equal(json_integer_value(json_object_get(one, "points")), 4 * north);
        }
        json_decref(told);
    }
}

/* A severity that rises brings the day nearer, one that falls leaves it. */
static void severity_moves_the_day(void **state)
{
    struct fixture *f = *state;
    struct following_change c = change_of(f, 1);
    c.note = "looked at";
    change(f, &c);
    const struct follow_row was = row_of(f, 1);
    assert_true(was.by_rule < SEVERITY_URGENT);
    c = change_of(f, 1);
    c.severity = true;
    c.set_to = SEVERITY_URGENT;
    c.reason = "a school";
    change(f, &c);
    const struct follow_row now = row_of(f, 1);
    assert_int_equal(now.set_to, SEVERITY_URGENT);
    assert_int_equal(now.due_day, TODAY + severity_due_days(f->desk.severity, SEVERITY_URGENT));
    assert_true(now.due_day < was.due_day);
    assert_int_equal(entries(f, 1).count, 3);
    c.set_to = SEVERITY_LOW;
    change(f, &c);
    assert_int_equal(row_of(f, 1).due_day, now.due_day);
    an_entry(f, 1, "4 severity urgent>low ada a school");
    change(f, &c);
    assert_int_equal(entries(f, 1).count, 4);
}

static void beside_harm_it_stays_urgent_and_has_a_day(void **state)
{
    struct fixture *f = *state;
    struct following_change c = change_of(f, 2);
    c.severity = true;
    for (int to = SEVERITY_LOW; to < SEVERITY_URGENT; to++) {
        c.set_to = to;
        refused(f, &c, "harm is reported of C2");
    }
    c.set_to = SEVERITY_URGENT;
    change(f, &c);
    c.set_to = FOLLOW_NOT_SET;
    change(f, &c);
    c = change_of(f, 2);
    c.due = true;
    refused(f, &c, "harm is reported of C2: it has a day");
    c.due_day = TODAY + 1;
    change(f, &c);
    assert_int_equal(row_of(f, 2).due_day, TODAY + 1);
}

static void of_a_case_that_is_over_nothing_is_decided(void **state)
{
    struct fixture *f = *state;
    const struct verdict_new verdict = {1, f->now_ms, "packed-hot", "assay", "", "qa"};
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    struct following_change c = change_of(f, 1);
    c.owner = "ada";
    refused(f, &c, "C1 is settled");
    c = change_of(f, 1);
    c.due = true;
    refused(f, &c, "C1 is settled");
    c = change_of(f, 1);
    c.severity = true;
    refused(f, &c, "C1 is settled");
    c = change_of(f, 1);
    c.note = "asked again";
    change(f, &c);
    an_entry(f, 1, "1 noted > ada asked again");
    assert_int_equal(db_exec(f->store, "UPDATE complaint_case SET complaints = 0", NULL), 0);
    c = change_of(f, 2);
    c.owner = "ada";
    refused(f, &c, "C2 is without complaints");
    c = change_of(f, 9);
    c.note = "?";
    assert_int_equal(following_change(&f->desk, f->store, &c, NULL), ERROR_NOT_FOUND);
}

static int64_t waiting(struct fixture *f)
{
    int64_t count = -1;
    assert_int_equal(call_back_count(f->store, TODAY + 99, NULL, &count, NULL), 0);
    return count;
}

static void who_called_is_called_back_and_answered(void **state)
{
    struct fixture *f = *state;
    struct following_change c = change_of(f, 2);
    c.report = SECOND;
    c.call_back_day = TODAY + 2;
    refused(f, &c, "no contact data is kept");
    c.case_id = 1;
    c.report = FIRST;
    c.call_back_why = "asks for it";
    change(f, &c);
    an_entry(f, 1, "1 call-back >2026-11-22 ada asks for it");
    for (int past = 0; past < 2; past++) { /* on its day it is not overdue */
        const struct call_back_query all = {0, WHEN_UNKNOWN_DAY, 9};
        const struct call_backs_view on = {TODAY + 2 + past, false};
        json_t *told = NULL;
        assert_int_equal(call_backs_json(&f->desk, f->store, &all, &on, &told, NULL), 0);
        assert_int_equal(json_array_size(told), 1);
        assert_int_equal(json_is_true(json_object_get(json_array_get(told, 0), "overdue")), past);
        json_decref(told);
    }
    assert_int_equal(waiting(f), 1);
    c = change_of(f, 1);
    c.report = FIRST;
    c.answered = "it was the bag";
    c.answered_ms = f->now_ms;
    change(f, &c);
    an_entry(f, 1, "2 answered >2026-11-20T12:00:00-05:00 ada it was the bag");
    assert_int_equal(waiting(f), 0);
}

/* By the rules: a case that gets worse is due sooner, and who called is called back. */
static void the_rules_weigh_it_again(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(following_weigh(&f->desk, f->store, 1, false, f->now_ms, &err), 0);
    const struct follow_row usual = row_of(f, 1);
    assert_int_equal(usual.since_ms, f->now_ms);
    assert_int_equal(usual.due_day,
                     TODAY + severity_due_days(f->desk.severity, (enum severity)usual.by_rule));
    assert_int_equal(entries(f, 1).count, 0);
    assert_int_equal(following_weigh(&f->desk, f->store, 1, true, f->now_ms + 1, &err), 0);
    const struct follow_row may = row_of(f, 1);
    assert_true(may.may_harm && may.by_rule > usual.by_rule && may.due_day < usual.due_day);
    assert_int_equal(may.since_ms, f->now_ms);
    const struct last last = entries(f, 1);
    assert_true(last.count >= 2);
    assert_int_equal(waiting(f), 1);
    assert_int_equal(following_weigh(&f->desk, f->store, 1, true, f->now_ms + 2, &err), 0);
    assert_int_equal(entries(f, 1).count, last.count); /* nothing moved */
    assert_int_equal(following_weigh(&f->desk, f->store, 1, false, f->now_ms + 3, &err), 0);
    assert_int_equal(row_of(f, 1).due_day, may.due_day);
    assert_int_equal(following_weigh(&f->desk, f->store, 9, false, f->now_ms, &err),
                     ERROR_NOT_FOUND);
}

static void reopened_its_day_is_counted_anew(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    const int64_t later_ms = f->now_ms + 5 * WHEN_DAY_MS;
    assert_int_equal(following_reopened(&f->desk, f->store, 1, f->now_ms, &err), 0);
    const int32_t due = row_of(f, 1).due_day;
    assert_int_equal(entries(f, 1).count, 0);
    assert_int_equal(following_reopened(&f->desk, f->store, 1, later_ms, &err), 0);
    assert_int_equal(row_of(f, 1).due_day, due + 5);
    const struct last last = entries(f, 1);
    assert_int_equal(last.count, 1);
    assert_string_equal(last.text, "it was reopened");
}

/* Complaints of a lot, ranked so. */
static void rank_as(struct fixture *f, int64_t case_id, const char *cause)
{
    struct error err = {0};
    struct ranking_cause causes[2] = {{.probability = 0.6}, {.probability = 0.4}};
    struct ranking ranking = {.case_id = case_id,
                              .as_of_ms = f->now_ms,
                              .complaints = 1,
                              .causes = causes,
                              .cause_count = 2};
    strcpy(causes[0].cause, cause);
    strcpy(causes[1].cause, "not-known");
    strcpy(ranking.rules, triage_hash(f->desk.triage));
    if (ranking_save(f->store, &ranking, &err))
        fail_msg("%s", err.text);
}

static void hold(struct fixture *f, int64_t lot)
{
    bool stood = true;
    const struct hold_of of = {.lot_id = lot, .code = "L1 6318 A0400"};
    const struct hold_entry entry = {
        .reason = "wet", .by_name = "mira", .user = "mira", .at_ms = f->now_ms};
    assert_int_equal(hold_add(f->store, &of, &entry, &stood, NULL), 0);
}

/* No later than bread of the lot is on sale, where the cause lies in it: by the rules, and by a
 * person without a reason. Lot L1 6318 A0400 is sold until 2026-11-24, four days from today. */
static void it_is_due_while_bread_can_be_stopped(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    enum { SOLD_UNTIL = TODAY + 4, CASE = 1 };
    if (triage_new(ODDLOAF_SOURCE_DIR "/rules", f->tz, NULL, NULL, &f->desk.triage, &err))
        fail_msg("%s", err.text);
    rank_as(f, CASE, "old-stock"); /* behind the plant: other packs are sound */
    assert_int_equal(following_weigh(&f->desk, f->store, CASE, false, f->now_ms, &err), 0);
    assert_true(row_of(f, CASE).due_day > SOLD_UNTIL);
    rank_as(f, CASE, "packed-hot");
    hold(f, 1); /* nothing of it is on sale */
    assert_int_equal(following_weigh(&f->desk, f->store, CASE, false, f->now_ms, &err), 0);
    assert_true(row_of(f, CASE).due_day > SOLD_UNTIL);
    assert_int_equal(db_exec(f->store, "DELETE FROM hold", &err), 0);
    assert_int_equal(following_weigh(&f->desk, f->store, CASE, false, f->now_ms, &err), 0);
    assert_int_equal(row_of(f, CASE).due_day, SOLD_UNTIL);
    assert_string_equal(entries(f, CASE).text,
                        "by the rules: bread of its lot is on sale until then");
    struct following_change c = change_of(f, CASE);
    c.due = true;
    c.due_day = SOLD_UNTIL + 1;
    refused(f, &c, "bread of its lot is on sale until 2026-11-24");
    c.due_day = WHEN_UNKNOWN_DAY + 1; /* long over: of the two reasons the nearer */
    refused(f, &c, "is over in the plant");
    c.due_day = SOLD_UNTIL + 1;
    c.reason = "the stores took it back";
    change(f, &c); /* a person's day stands */
    assert_int_equal(following_weigh(&f->desk, f->store, CASE, false, f->now_ms, &err), 0);
    assert_int_equal(row_of(f, CASE).due_day, SOLD_UNTIL + 1);
    assert_int_equal(following_reopened(&f->desk, f->store, CASE, f->now_ms, &err), 0);
    assert_int_equal(row_of(f, CASE).due_day, SOLD_UNTIL);
    const int64_t later_ms = f->now_ms + 5 * WHEN_DAY_MS; /* past it nothing can be stopped */
    assert_int_equal(following_reopened(&f->desk, f->store, CASE, later_ms, &err), 0);
    assert_true(row_of(f, CASE).due_day > TODAY + 5);
    triage_free(f->desk.triage);
    f->desk.triage = NULL;
}

static void who_is_meant(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct case_row row;
    char report[40];
    struct following_change c = change_of(f, 1);
    assert_int_equal(case_get(f->store, 1, &row, &err), 0);
    assert_int_equal(following_report(f->store, &row, report, sizeof report, &err), 0);
    assert_string_equal(report, FIRST);
    fixture_log(f, "01990000-0000-7000-8000-000000000003", "{'store':'Elm Street'}");
    assert_int_equal(following_report(f->store, &row, report, sizeof report, &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "several people reported C1"));
    assert_string_equal(err.field, "complaint");
    c.report = FIRST; /* who waits to be called back is */
    c.call_back_day = TODAY;
    change(f, &c);
    assert_int_equal(following_report(f->store, &row, report, sizeof report, &err), 0);
    assert_string_equal(report, FIRST);
    row.id = 9;
    error_clear(&err);
    assert_int_equal(following_report(f->store, &row, report, sizeof report, &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "nobody reports C9"));
}

/* The most severe first, as many as are wanted. */
static void what_is_overdue_is_told(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    json_t *late = NULL;
    int64_t count = -1;
    assert_int_equal(following_weigh(&f->desk, f->store, 1, false, f->now_ms, &err), 0);
    assert_int_equal(following_weigh(&f->desk, f->store, 2, false, f->now_ms, &err), 0);
    const int32_t due[] = {row_of(f, 1).due_day, row_of(f, 2).due_day};
    assert_true(due[1] < due[0]);
    for (int past = 0; past < 2; past++) { /* on its day it is not overdue */
        assert_int_equal(following_overdue_json(f->store,
                                                &(struct follow_late){due[0] + past, 9, NULL},
                                                &late, &count, &err),
                         0);
        assert_int_equal(count, 1 + past);
        assert_int_equal(json_array_size(late), 1 + past);
        json_decref(late);
    }
    assert_int_equal(following_overdue_json(f->store, &(struct follow_late){due[0] + 1, 1, NULL},
                                            &late, &count, &err),
                     0);
    assert_int_equal(count, 2);
    json_t *expected =
        json_pack("[{s:s, s:s, s:b, s:i, s:i, s:s, s:s, s:s, s:n, s:s}]", "case", "C2", "symptom",
                  "mold", "harm", true, "complaints", 1, "days", due[0] + 1 - due[1], "lot",
                  "L2 6318 A0400", "line", "2", "severity", "urgent", "owner", "due", "");
    json_object_set(json_array_get(expected, 0), "due",
                    json_object_get(json_array_get(late, 0), "due"));
    if (!json_equal(late, expected))
        fail_msg("%s", json_dumps(late, 0));
    json_decref(late);
    json_decref(expected);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, with_cases, without)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_person_owns_it_and_sets_its_day),
        TEST(a_case_is_weighed_by_its_plants_severity),
        TEST(severity_moves_the_day),
        TEST(beside_harm_it_stays_urgent_and_has_a_day),
        TEST(of_a_case_that_is_over_nothing_is_decided),
        TEST(who_called_is_called_back_and_answered),
        TEST(the_rules_weigh_it_again),
        TEST(reopened_its_day_is_counted_anew),
        TEST(who_is_meant),
        TEST(it_is_due_while_bread_can_be_stopped),
        TEST(what_is_overdue_is_told),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
