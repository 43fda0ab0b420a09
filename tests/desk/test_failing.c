/* On a disk that fails nothing is taken, corrected or told as if it did not; and all that is told
 * and mailed of a few complaints, whole. */
#define FAILING_FIRST 10000 /* every one */
#include "../failing.h"
#include "../told.h"
#include "desk/apart_again.h"
#include "desk/apart_past.h"
#include "desk/attached_json.h"
#include "desk/call_backs.h"
#include "desk/case_asks.h"
#include "desk/despite_harm.h"
#include "desk/following.h"
#include "desk/joining.h"
#include "desk/named.h"
#include "desk/older.h"
#include "desk/outgoing.h"
#include "desk/overheard.h"
#include "desk/placing.h"
#include "desk/repeat_harm.h"
#include "desk/spoken.h"
#include "desk/story.h"
#include "desk/told.h"
#include "desk/whole.h"
#include "fixture.h"
#include "rules/severity.h"
#include "store/hold.h"
#include "store/outbox.h"

#define THIRD "01990000-0000-7000-8000-000000000003"
#define MORE                                                                                       \
    "{'harm':['illness'],'note':'my son was sick','lot_text':'L1 6318 A0400','store':'Elm "        \
    "Street',"                                                                                     \
    "'contact':{'name':'Ada Marsh','phone':'555 0199'}}"

#define KNOWN "{'contact':{'phone':'555 0123'},'harm':['illness']}"

static int take(struct fixture *f, const char *uuid, const char *more, struct error *err)
{
    struct taking t = {.user = "mira", .alone = true};
    json_t *said = fixture_complaint(uuid, more);
    taking_read(&f->desk, f->store, said, f->now_ms, &t);
    json_decref(said);
    int rc = taking_log(&f->desk, f->store, f->now_ms, &t, err);
    if (!rc && t.err.code) {
        rc = (int)t.err.code;
        *err = t.err;
    }
    taking_clear(&t);
    return rc;
}

static int taken(struct fixture *f, struct error *err)
{
    return take(f, THIRD, MORE, err);
}

static int taken_again(struct fixture *f, struct error *err)
{
    return take(f, FIRST, KNOWN, err);
}

/* Refused as it was before, and what it says of harm is on record. */
static int harm_again(struct fixture *f, struct error *err)
{
    struct error why = {0};
    int rc = take(f, FIRST, "{'contact':{'phone':'555 0123'},'harm':['injury']}", &why);
    if (rc == ERROR_CONFLICT)
        return 0;
    *err = why;
    return rc;
}

static int joined(struct fixture *f, struct error *err)
{
    return take(f, THIRD, "{'same_as':'" FIRST "','note':'and it was moldy'}", err);
}

static int corrected(struct fixture *f, struct error *err)
{
    json_t *fields = fixture_json("{'lot_text':'L2 6318 A0400','note':'a tooth broke on it',"
                                  "'contact/phone':'555 0100','harm':['injury']}");
    struct correcting c = {
        .uuid = FIRST, .why = {"ivo", "read again", f->now_ms}, .fields = fields};
    int rc = correcting_apply(&f->desk, f->store, &c, err);
    json_decref(fields);
    fixture_corrected_clear(&c);
    return rc;
}

static int withdrawn(struct fixture *f, struct error *err)
{
    struct correcting c = {.uuid = SECOND, .why = {"ivo", "twice", f->now_ms}};
    int rc = correcting_withdraw(&f->desk, f->store, &c, false, err);
    fixture_corrected_clear(&c);
    return rc;
}

static int made_one(struct fixture *f, struct error *err)
{
    const struct joining_pair pair = {SECOND, FIRST, true, false};
    const struct complaint_why why = {"ivo", "the same", f->now_ms};
    struct complaint_placed placed;
    return joining_join(&f->desk, f->store, &pair, &why, &placed, err);
}

static int case_told(struct fixture *f, struct error *err)
{
    const struct following_view view = {f->now_ms, true, false};
    json_t *told = NULL;
    int rc = following_json(&f->desk, f->store, 1, &view, &told, err);
    json_decref(told);
    return rc;
}

static int whole(struct fixture *f, struct error *err)
{
    json_t *told = NULL;
    int rc = whole_complaint(&f->desk, f->store, FIRST, true, &told, err);
    json_decref(told);
    return rc;
}

static int story(struct fixture *f, struct error *err)
{
    json_t *told = NULL;
    int rc = story_json(&f->desk, f->store, "C1", true, &told, err);
    json_decref(told);
    return rc;
}

static int calls(struct fixture *f, struct error *err)
{
    const struct call_back_query query = {0, WHEN_UNKNOWN_DAY, 9};
    const struct call_backs_view view = {20780, true};
    json_t *told = NULL;
    int rc = call_backs_json(&f->desk, f->store, &query, &view, &told, err);
    json_decref(told);
    told = NULL;
    rc = rc ? rc : call_backs_lost_json(f->store, 9, &told, err);
    json_decref(told);
    return rc;
}

static int older(struct fixture *f, struct error *err)
{
    int count;
    return older_take_in(&f->desk, f->store, &count, err);
}

static int settled(struct fixture *f, struct error *err)
{
    struct despite_harm despite = {.desk = &f->desk,
                                   .did = "C1 was settled",
                                   .case_id = 1,
                                   .anyway = "the assay is back",
                                   .by = "qa",
                                   .user = "qa",
                                   .now_ms = f->now_ms};
    int rc = despite_harm_pass(f->store, &despite, err);
    json_decref(despite.found);
    return rc;
}

static int separated(struct fixture *f, struct error *err)
{
    const struct complaint_why why = {"ivo", "another loaf", f->now_ms};
    struct complaint_placed placed;
    int rc = made_one(f, err);
    return rc ? rc : joining_separate(&f->desk, f->store, SECOND, &why, &placed, err);
}

static int followed(struct fixture *f, struct error *err)
{
    struct following_change change = {.case_id = 1,
                                      .who = {"qa", "q", f->now_ms},
                                      .owner = "ada",
                                      .due = true,
                                      .due_day = 20800,
                                      .severity = true,
                                      .set_to = FOLLOW_NOT_SET,
                                      .reason = "a week more",
                                      .note = "looked at",
                                      .report = FIRST,
                                      .call_back_day = 20790,
                                      .call_back_why = "asks for it"};
    int rc = following_change(&f->desk, f->store, &change, err);
    const struct following_change answered = {.case_id = 1,
                                              .who = {"qa", "q", f->now_ms},
                                              .set_to = FOLLOW_NOT_SET,
                                              .report = FIRST,
                                              .call_back_day = WHEN_UNKNOWN_DAY,
                                              .answered = "it was the bag",
                                              .answered_ms = f->now_ms};
    rc = rc ? rc : following_change(&f->desk, f->store, &answered, err);
    return rc ? rc : following_reopened(&f->desk, f->store, 1, f->now_ms, err);
}

static int overdue(struct fixture *f, struct error *err)
{
    struct case_row row;
    char report[40];
    json_t *late = NULL;
    int64_t count;
    int rc =
        following_overdue_json(f->store, &(struct follow_late){20999, 9, NULL}, &late, &count, err);
    json_decref(late);
    rc = rc ? rc : case_get(f->store, 1, &row, err);
    return rc ? rc : following_report(f->store, &row, report, sizeof report, err);
}

static int heard(struct fixture *f, struct error *err)
{
    struct overheard o = {.desk = &f->desk,
                          .case_id = 2,
                          .lot_id = 2,
                          .lot = "L2 6318 A0400",
                          .where = "a note of the case says so",
                          .why = {"qa", "their son was sick all night from it", f->now_ms}};
    int rc = overheard_hear(f->store, &o, err);
    json_decref(o.harm);
    return rc;
}

static int asked_and_spoken(struct fixture *f, struct error *err)
{
    json_t *asks = NULL, *spoken = NULL, *told = NULL, *files = json_object();
    struct placing_all all;
    int rc = case_asks_json(&f->desk, f->store, 1, &asks, err);
    rc = rc ? rc : spoken_of_case(&f->desk, f->store, 1, &spoken, err);
    rc = rc ? rc : told_case(f->store, 1, &told, err);
    rc = rc ? rc : attached_json_add(f->store, f->tz, 1, 0, files, err);
    rc = rc ? rc : placing_all(&f->desk, f->store, 2, &all, err);
    json_decref(asks);
    json_decref(spoken);
    json_decref(told);
    json_decref(files);
    return rc;
}

static int named(struct fixture *f, struct error *err)
{
    char uuid[UUID_TEXT];
    int64_t id;
    int rc = named_complaint(f->store, FIRST, uuid, err);
    return rc ? rc : named_case(f->store, FIRST, &id, err);
}

static int masked(struct fixture *f, struct error *err)
{
    const struct complaint_placed placed = {.complaint_id = 1, .case_id = 1};
    int rc = apart_again_complaint(&f->desk, f->store, 1, err);
    rc = rc ? rc : apart_past_forget(f->store, "store", "Elm Street", err);
    rc = rc ? rc : apart_past_forget(f->store, "route", "R1", err);
    return rc ? rc : apart_past_written(&f->desk, f->store, &placed, err);
}

/* The second of each waits for others. */
static int mailed(struct fixture *f, struct error *err)
{
    int rc = 0;
    for (int i = 0; i < 3 && !rc; i++) {
        char id[32];
        bool gathered;
        snprintf(id, sizeof id, "<%d@mill.example>", i);
        const struct outbox_new mail = {
            .event = OUTBOX_URGENT, .case_id = 1, .message_id = id, .created_ms = f->now_ms};
        rc = outgoing_add_urgent(
            f->store, &mail, 600000,
            fixture_json("{'event': 'urgent', 'complaint': '" FIRST "', 'harm': ['injury']}"),
            &gathered, err);
    }
    return rc;
}

static int mailed_alone(struct fixture *f, struct error *err)
{
    int rc = 0;
    for (int i = 0; i < 5 && !rc; i++) {
        char id[32];
        bool gathered;
        snprintf(id, sizeof id, "<%d@mill.example>", i);
        const struct outbox_new mail = {
            .event = OUTBOX_URGENT, .message_id = id, .created_ms = f->now_ms};
        rc = outgoing_add_alone(f->store, &mail,
                                fixture_json("{'event': 'urgent', 'alone': true, 'harm': "
                                             "['injury'], 'plant': 'p', 'needs': 'n'}"),
                                &gathered, err);
    }
    return rc;
}

struct asked {
    struct fixture *f;
    int (*does)(struct fixture *f, struct error *err);
};

static int ask(void *arg, struct error *err)
{
    struct asked *a = arg;
    return a->does(a->f, err);
}

/* How many failures are no answer of its own: the writer keeps nothing of what failed
 * (store_nest()), and what is told asks the store at its end (store_failed()). */
static void what_the_disk_fails_at_is_not_done(void **state)
{
#define ROW(does, unsaid)                                                                          \
    {                                                                                              \
#does, does, unsaid                                                                        \
    }
    static const struct {
        const char *name;
        int (*does)(struct fixture *, struct error *);
        int unsaid;
    } DONE[] = {ROW(taken, 17),      ROW(taken_again, 11), ROW(harm_again, 12),
                ROW(joined, 0),      ROW(corrected, 28),   ROW(withdrawn, 3),
                ROW(made_one, 29),   ROW(case_told, 7),    ROW(whole, 0),
                ROW(story, 0),       ROW(calls, 0),        ROW(older, 0),
                ROW(settled, 11),    ROW(separated, 30),   ROW(followed, 9),
                ROW(overdue, 0),     ROW(heard, 6),        ROW(asked_and_spoken, 0),
                ROW(named, 0),       ROW(masked, 18),      ROW(mailed, 0),
                ROW(mailed_alone, 0)};
    struct asked a = {.f = *state};
    struct severity_rules *severity = NULL;
    assert_int_equal(
        severity_load(ODDLOAF_SOURCE_DIR "/rules/severity.json", NULL, NULL, &severity, NULL), 0);
    a.f->desk.severity = severity;
    fixture_log(a.f, FIRST, KNOWN);
    fixture_log(a.f, SECOND, "{'lot_text':'L2 6318 A0400','note':'sour'}");
    for (size_t i = 0; i < COUNT_OF(DONE); i++) {
        a.does = DONE[i].does;
        failing_check(a.f->store, ask, &a, DONE[i].name, DONE[i].unsaid);
    }
    a.f->desk.severity = NULL;
    severity_free(severity);
}

/* ---- whole ---- */

static int add_mail(void *arg, int64_t mail_id, const char *payload)
{
    json_t *mail = NULL;
    (void)mail_id;
    assert_int_equal(jsonx_parse(payload, strlen(payload), &mail, NULL), 0);
    json_array_append_new(arg, mail);
    return 0;
}

/* As each of these leaves it: mails of case 1 and of case 2, and how the first complaint stands. */
static void all_is_told_and_mailed_as_it_was(void **state)
{
#define STEP(does)                                                                                 \
    {                                                                                              \
#does, does                                                                                \
    }
    static const struct {
        const char *name;
        int (*does)(struct fixture *, struct error *);
    } STEPS[] = {STEP(taken),     STEP(joined),   STEP(corrected),
                 STEP(withdrawn), STEP(made_one), STEP(settled)};
    struct fixture *f = *state;
    const struct following_view view = {f->now_ms, true, false};
    const struct call_back_query query = {0, WHEN_UNKNOWN_DAY, 9};
    const struct call_backs_view shown = {20780, true};
    for (size_t i = 0; i < COUNT_OF(STEPS); i++) {
        struct error err = {0};
        json_t *told[5] = {NULL}, *mails = json_array();
        fixture_begin(f);
        if (STEPS[i].does(f, &err))
            fail_msg("%s: %s", STEPS[i].name, err.text);
        assert_int_equal(following_json(&f->desk, f->store, 1, &view, &told[0], &err), 0);
        assert_int_equal(whole_complaint(&f->desk, f->store, FIRST, true, &told[1], &err), 0);
        assert_int_equal(story_json(&f->desk, f->store, "C1", true, &told[2], &err), 0);
        assert_int_equal(call_backs_json(&f->desk, f->store, &query, &shown, &told[3], &err), 0);
        assert_int_equal(call_backs_lost_json(f->store, 9, &told[4], &err), 0);
        assert_int_equal(outbox_about(f->store, 1, "", add_mail, mails, &err), 0);
        assert_int_equal(outbox_about(f->store, 2, "", add_mail, mails, &err), 0);
        told_check("desk", STEPS[i].name,
                   json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "follow", told[0], "complaint",
                             told[1], "story", told[2], "calls", told[3], "lost", told[4], "mails",
                             mails));
        fixture_end(f, false);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_the_disk_fails_at_is_not_done),
        cmocka_unit_test(all_is_told_and_mailed_as_it_was),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
