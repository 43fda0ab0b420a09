/* Which urgent mails of one case leave at once, and which wait for each other. */
#include "base/jsonx.h"
#include "desk/outgoing.h"
#include "fixture.h"
#include "store/outbox.h"

static const int64_t GATHER_MS = 600000;
static const int64_t CASE = 1;

/* The next of the case: was it gathered? A second after the one before. */
static bool gathered(struct fixture *f, const char *event)
{
    char id[64];
    struct error err = {0};
    bool it = false;
    f->now_ms += 1000;
    snprintf(id, sizeof id, "<%lld@mill.example>", (long long)f->now_ms);
    const struct outbox_new mail = {
        .event = OUTBOX_URGENT, .case_id = CASE, .message_id = id, .created_ms = f->now_ms};
    if (outgoing_add_urgent(f->store, &mail, GATHER_MS, fixture_json(event), &it, &err))
        fail_msg("%s", err.text);
    return it;
}

static int with_case(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    fixture_begin(f);
    return db_exec(f->store,
                   "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs)"
                   " VALUES(1, 'mold', 0, 0, 1, 1)",
                   &err);
}

static void a_new_kind_leaves_at_once(void **state)
{
    struct fixture *f = *state;
    assert_false(gathered(f, "{'harm': ['illness']}"));
    assert_true(gathered(f, "{'harm': ['illness']}"));
    assert_false(gathered(f, "{'harm': ['injury']}"));
    assert_true(gathered(f, "{'harm': ['injury', 'illness']}"));
    assert_true(gathered(f, "{'harm': [], 'possible': true}"));
    assert_false(gathered(f, "{'harm': ['illness'], 'grave': ['hospital*']}"));
    assert_true(gathered(f, "{'harm': ['illness'], 'grave': ['hospital*']}"));
    assert_false(gathered(f, "{'harm': ['illness'], 'grave': ['hospital*', 'died']}"));
}

/* What is of no case waits for nothing of a case, nor for another of none; where nothing is
 * gathered each leaves. */
static void only_what_is_of_one_case_waits(void **state)
{
    static const struct {
        int64_t case_id, gather_ms;
        bool waits;
    } ROWS[] = {{CASE, GATHER_MS, true}, {0, GATHER_MS, false}, {CASE, 0, false}, {0, 0, false}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        for (int again = 0; again < 2; again++) {
            char id[64];
            struct error err = {0};
            bool it = true;
            f->now_ms += 1000;
            snprintf(id, sizeof id, "<%zu-%d@mill.example>", i, again);
            const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                            .case_id = ROWS[i].case_id,
                                            .message_id = id,
                                            .created_ms = f->now_ms};
            if (outgoing_add_urgent(f->store, &mail, ROWS[i].gather_ms,
                                    fixture_json("{'harm': ['illness']}"), &it, &err))
                fail_msg("%s", err.text);
            if (it != (again && ROWS[i].waits))
                fail_msg("row %zu, %d", i, again);
        }
}

/* What a note was read as is a guess: that somebody says so is news, once. */
static void what_a_person_says_is_news_behind_what_was_heard(void **state)
{
    struct fixture *f = *state;
    assert_false(gathered(f, "{'harm': ['tampering'], 'harm_heard': ['tampering']}"));
    assert_true(gathered(f, "{'harm': ['tampering'], 'harm_heard': ['tampering']}"));
    assert_false(gathered(f, "{'harm': ['tampering']}"));
    assert_true(gathered(f, "{'harm': ['tampering']}"));
    assert_true(gathered(f, "{'harm': ['tampering'], 'harm_heard': ['tampering']}"));
    assert_false(gathered(f, "{'harm': ['tampering', 'illness'], 'harm_heard': ['illness']}"));
}

/* What is said after a verdict is news, and what changed no record, or was decided, told nothing.
 */
static void a_verdict_and_what_is_no_report_end_the_gathering(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char sql[300];
    const struct outbox_new again = {.event = OUTBOX_URGENT,
                                     .case_id = CASE,
                                     .message_id = "<again-1@mill.example>",
                                     .created_ms = f->now_ms};
    assert_int_equal(outgoing_add(f->store, &again, fixture_json("{'harm': ['illness']}"), &err),
                     0);
    assert_false(gathered(f, "{'event': 'despite', 'harm': ['illness']}"));
    assert_false(gathered(f, "{'harm': ['illness']}"));
    assert_true(gathered(f, "{'harm': ['illness']}"));
    snprintf(sql, sizeof sql,
             "INSERT INTO verdict(case_id, cause, confirmed_by, by_name, at_ms, revision)"
             " VALUES(1, 'rope', 'assay', 'mira', %lld, 0)",
             (long long)f->now_ms);
    assert_int_equal(db_exec(f->store, sql, &err), 0);
    assert_false(gathered(f, "{'harm': ['illness']}"));
    assert_true(gathered(f, "{'harm': ['illness']}"));
}

/* The next of no case, a hundredth of a second after the one before. */
static bool gathered_alone(struct fixture *f, int n)
{
    char id[64];
    struct error err = {0};
    bool it = false;
    f->now_ms += 10;
    snprintf(id, sizeof id, "<alone-%d@mill.example>", n);
    const struct outbox_new mail = {
        .event = OUTBOX_URGENT, .message_id = id, .created_ms = f->now_ms};
    json_t *event = fixture_json("{'event': 'urgent', 'alone': true, 'plant': 'P', 'needs': []}");
    if (outgoing_add_alone(f->store, &mail, event, &it, &err))
        fail_msg("%s", err.text);
    return it;
}

static int64_t mails(struct fixture *f)
{
    int64_t count = -1;
    assert_int_equal(db_number(f->store, "SELECT COUNT(*) FROM outbox", NULL, &count, NULL), 0);
    return count;
}

/* Three leave alone; then a hundred share a mail, and a hundred the next; after a minute without
 * any the next leaves alone. */
static void many_of_no_case_share_mails(void **state)
{
    struct fixture *f = *state;
    const int64_t before = mails(f);
    for (int n = 0; n < 3; n++)
        assert_false(gathered_alone(f, n));
    for (int n = 3; n < 204; n++) {
        assert_true(gathered_alone(f, n));
        assert_int_equal(mails(f) - before, 4 + (n >= 103) + (n >= 203));
    }
    f->now_ms += 120001;
    assert_false(gathered_alone(f, 204));
}

struct reading {
    struct fixture *f;
    size_t reports;
};

static int read_back(void *arg, const struct outbox_urgent *mail)
{
    struct reading *r = arg;
    struct fixture *f = r->f;
    char *payload = NULL;
    json_t *event = NULL;
    struct error err = {0};
    assert_int_equal(outbox_payload(f->store, mail->mail_id, &payload, &err), 0);
    if (jsonx_parse(payload, strlen(payload), &event, &err))
        fail_msg("%s", err.text);
    const json_t *reports = json_object_get(event, "reports");
    r->reports += reports ? json_array_size(reports) : 1;
    json_decref(event);
    free(payload);
    return 0;
}

/* As a file of a chain's complaints brings them, with notes that make any list long, in a few
 * bytes or in many: none is lost, and each mail can be read again. */
static void many_of_one_case_share_mails(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct text_buffer event = {0};
    static const int COUNT[] = {2000, 200}, NOTE[] = {500, 20000}, MOST[] = {22, 200};
    for (size_t row = 0; row < COUNT_OF(COUNT); row++) {
        const int64_t before = mails(f);
        text_reset(&event);
        text_append(&event, "{'harm': ['illness'], 'note': '");
        for (int i = 0; i < NOTE[row]; i++)
            text_append(&event, "x");
        text_append(&event, "'}");
        f->now_ms += 2 * GATHER_MS;
        const int64_t since_ms = f->now_ms;
        for (int i = 0; i < COUNT[row]; i++) {
            assert_true(gathered(f, event.data) == (i > 0));
            f->now_ms -= 900;
        }
        const struct when_span all = {since_ms, f->now_ms};
        struct reading r = {.f = f};
        assert_int_equal(outbox_urgent_of(f->store, CASE, all, read_back, &r, &err), 0);
        assert_int_equal(r.reports, COUNT[row]);
        assert_in_range(mails(f) - before, 2, MOST[row]);
    }
    text_buffer_free(&event);
}

/* Names and numbers of whoever called, in all that people typed of it; not in what is no text of
 * theirs. */
static void what_people_typed_names_no_caller(void **state)
{
    (void)state;
    json_t *caller = fixture_json("{'name': 'Ann Bee', 'phone': '555-0101'}");
    json_t *event =
        fixture_json("{'note': 'Ann Bee rang', 'again': ['Mrs Bee, 555-0101', 'moldy'], 'why': "
                     "'for Ann Bee', 'cause': 'Bee', 'said': {'note': 'Bee again'}}");
    json_t *told = outgoing_masked(event, caller, true);
    static const char *const PATHS[] = {"note", "why"};
    for (size_t i = 0; i < COUNT_OF(PATHS); i++)
        assert_null(strstr(json_string_value(json_object_get(told, PATHS[i])), "Bee"));
    const json_t *again = json_object_get(told, "again");
    assert_null(strstr(json_string_value(json_array_get(again, 0)), "Bee"));
    assert_null(strstr(json_string_value(json_array_get(again, 0)), "0101"));
    assert_string_equal(json_string_value(json_array_get(again, 1)), "moldy");
    assert_null(
        strstr(json_string_value(json_object_get(json_object_get(told, "said"), "note")), "Bee"));
    assert_string_equal(json_string_value(json_object_get(told, "cause")), "Bee");
    json_decref(told);
    json_decref(event);
    json_decref(caller);
}

/* As they come in: what the form says and what the note does. */
static void who_said_it_is_told(void **state)
{
    struct fixture *f = *state;
    struct taking t = {0};
    json_t *complaint = fixture_json(
        "{'id': '" FIRST "', 'received_at': '2026-11-20T09:00:00-05:00', 'channel': 'phone',"
        " 'symptom': 'mold', 'harm': ['injury'], 'note': 'my son was sick all night from it'}");
    taking_read(&f->desk, f->store, complaint, f->now_ms, &t);
    json_t *harm = fixture_json("['injury', 'illness']"), *heard = fixture_json("['illness']");
    assert_true(json_equal(json_object_get(t.urgent, "harm"), harm));
    assert_true(json_equal(json_object_get(t.urgent, "harm_heard"), heard));
    json_decref(harm);
    json_decref(heard);
    json_decref(complaint);
    taking_clear(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_new_kind_leaves_at_once, with_case, fixture_cleaned),
        cmocka_unit_test_setup_teardown(only_what_is_of_one_case_waits, with_case, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_a_person_says_is_news_behind_what_was_heard, with_case,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_verdict_and_what_is_no_report_end_the_gathering,
                                        with_case, fixture_cleaned),
        cmocka_unit_test_setup_teardown(many_of_no_case_share_mails, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(many_of_one_case_share_mails, with_case, fixture_cleaned),
        cmocka_unit_test(what_people_typed_names_no_caller),
        cmocka_unit_test_setup_teardown(who_said_it_is_told, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
