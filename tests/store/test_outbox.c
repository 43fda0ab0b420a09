/* Mails and their deliveries: each recipient by itself, urgent ones never behind another. */
#include "base/jsonx.h"
#include "fixture.h"
#include "store/outbox.h"

#define NOW INT64_C(1800000000000)

static int setup(void **state)
{
    return fixture_with(state, "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms,"
                               " complaints, packs) WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL"
                               " SELECT i + 1 FROM n WHERE i < 99) SELECT i, 'mold', 0, 0, 1, 1"
                               " FROM n");
}

static void add(struct fixture *f, const char *event, int64_t case_id, int revision)
{
    char id[64];
    snprintf(id, sizeof id, "<%s-%lld-%d@p>", event, (long long)case_id, revision);
    const struct outbox_new mail = {event, case_id, revision, id, "{}", NOW, 0};
    assert_int_equal(outbox_add(f->store, &mail, NULL), 0);
}

static void address(struct fixture *f, const char *event, bool all, const char *const names[])
{
    struct outbox_addresses a = {.event = event, .recipient = names, .all = all};
    while (names[a.count])
        a.count++;
    assert_int_equal(outbox_address(f->store, &a, NOW, NULL), 0);
    assert_int_equal(outbox_addressed(f->store, event, all, NULL), 0);
}

/* "MAIL:RECIPIENT MAIL:RECIPIENT", in the order they'd be sent. */
static void assert_due(struct fixture *f, bool urgent, int64_t now_ms, const char *expected)
{
    struct outbox_delivery rows[16];
    struct outbox_deliveries due = {rows, 0, 16};
    struct text_buffer out = {0};
    assert_int_equal(outbox_due(f->store, urgent, now_ms, &due, NULL), 0);
    text_append(&out, "");
    for (int i = 0; i < due.count; i++) {
        text_appendf(&out, "%s%lld:%s", i ? " " : "", (long long)rows[i].mail_id,
                     rows[i].recipient);
        outbox_delivery_free(&rows[i]);
    }
    assert_string_equal(out.data, expected);
    text_buffer_free(&out);
}

static void refuse(struct fixture *f, int64_t mail_id, const char *recipient, int64_t due_ms,
                   bool park)
{
    struct outbox_delivery d = {.mail_id = mail_id};
    strcpy(d.recipient, recipient);
    assert_int_equal(outbox_failed(f->store, &d, due_ms, park, "busy", NULL), 0);
}

static void assert_counts(struct fixture *f, int64_t waiting, int64_t parked, int64_t sent)
{
    struct outbox_counts counts;
    assert_int_equal(outbox_count(f->store, &counts, NULL), 0);
    assert_int_equal(counts.waiting, waiting);
    assert_int_equal(counts.parked, parked);
    assert_int_equal(counts.sent, sent);
}

/* Payloads that are kept. */
static int64_t texts(struct fixture *f)
{
    static const char SQL[] = "SELECT count(*) FROM outbox_text";
    int64_t count = -1;
    assert_int_equal(db_number(f->store, SQL, NULL, &count, NULL), 0);
    return count;
}

static const char *const TWO[] = {"a@p", "b@p", NULL};
static const char *const NOBODY[] = {NULL};

static void a_mail_to_nobody_waits(void **state)
{
    struct fixture *f = *state;
    bool any = false;
    add(f, "case", 1, 1);
    address(f, "case", true, NOBODY);
    assert_due(f, false, NOW, "");
    assert_counts(f, 1, 0, 0);
    assert_int_equal(outbox_has_new(f->store, "case", &any, NULL), 0);
    assert_true(any);
    address(f, "case", false, TWO);
    assert_due(f, false, NOW, "1:a@p 1:b@p");
}

static void each_recipient_by_itself(void **state)
{
    struct fixture *f = *state;
    add(f, "case", 1, 1);
    address(f, "case", false, TWO);
    refuse(f, 1, "a@p", NOW, true);
    assert_counts(f, 1, 0, 0);
    assert_int_equal(outbox_sent(f->store, 1, "b@p", NOW, NULL), 0);
    assert_due(f, false, NOW, "");
    assert_counts(f, 0, 1, 0);
    int due = 0;
    assert_int_equal(outbox_due_again(f->store, 0, NOW, &due, NULL), 0);
    assert_int_equal(due, 1);
    assert_due(f, false, NOW, "1:a@p");
    assert_int_equal(texts(f), 1);
    assert_int_equal(outbox_sent(f->store, 1, "a@p", NOW, NULL), 0);
    assert_counts(f, 0, 0, 1);
    assert_int_equal(texts(f), 0);
}

static void one_mail_is_sent_again_by_its_number(void **state)
{
    struct fixture *f = *state;
    int due = 0;
    add(f, "case", 1, 1);
    add(f, "case", 2, 1);
    address(f, "case", false, TWO);
    refuse(f, 1, "a@p", NOW, true);
    refuse(f, 2, "a@p", NOW, true);
    assert_int_equal(outbox_due_again(f->store, 2, NOW, &due, NULL), 0);
    assert_due(f, false, NOW, "1:b@p 2:b@p 2:a@p");
    assert_int_equal(outbox_due_again(f->store, 9, NOW, &due, NULL), ERROR_NOT_FOUND);
    outbox_sent(f->store, 1, "a@p", NOW, NULL);
    outbox_sent(f->store, 1, "b@p", NOW, NULL);
    assert_int_equal(outbox_due_again(f->store, 1, NOW, &due, NULL), ERROR_CONFLICT);
}

/* The plant mended an address: the wrong one is dropped, the right one gets what waits. */
static void who_gets_what_waits_may_change(void **state)
{
    static const char *const MENDED[] = {"a@p", "c@p", NULL};
    struct fixture *f = *state;
    add(f, "case", 1, 1);
    address(f, "case", false, TWO);
    outbox_sent(f->store, 1, "a@p", NOW, NULL);
    refuse(f, 1, "b@p", NOW, true);
    address(f, "case", true, MENDED);
    assert_due(f, false, NOW, "1:c@p");
    address(f, "case", true, (const char *const[]){"a@p", NULL});
    assert_counts(f, 0, 0, 1);
    assert_int_equal(texts(f), 0);
}

/* A mail that a restored state holds leaves when a person asks for it by its number only. */
static void a_held_mail_is_not_among_all(void **state)
{
    struct fixture *f = *state;
    int due = -1;
    add(f, "case", 1, 1);
    address(f, "case", false, (const char *const[]){"a@p", NULL});
    assert_int_equal(db_exec(f->store, "UPDATE outbox SET held = 'stale'", NULL), 0);
    assert_int_equal(outbox_due_again(f->store, 0, NOW, &due, NULL), 0);
    assert_int_equal(due, 0);
    assert_due(f, false, NOW, "");
    assert_int_equal(outbox_due_again(f->store, 1, NOW, &due, NULL), 0);
    assert_int_equal(due, 1);
    assert_due(f, false, NOW, "1:a@p");
}

static void the_hook_alone_sends_no_mail(void **state)
{
    static const char *const HOOK[] = {OUTBOX_HOOK, NULL};
    static const char *const BOTH[] = {OUTBOX_HOOK, "a@p", NULL};
    struct fixture *f = *state;
    add(f, "case", 1, 1);
    address(f, "case", false, HOOK);
    outbox_sent(f->store, 1, OUTBOX_HOOK, NOW, NULL);
    assert_counts(f, 1, 0, 0);
    address(f, "case", true, BOTH);
    assert_due(f, false, NOW, "1:a@p");
    outbox_sent(f->store, 1, "a@p", NOW, NULL);
    assert_counts(f, 0, 0, 1);
}

static void what_was_never_tried_goes_first(void **state)
{
    struct fixture *f = *state;
    add(f, "urgent", 1, 0);
    address(f, "urgent", false, TWO);
    refuse(f, 1, "a@p", NOW - 1000, false);
    add(f, "urgent", 2, 0);
    address(f, "urgent", false, TWO);
    assert_due(f, true, NOW, "1:b@p 2:a@p 2:b@p 1:a@p");
    assert_due(f, false, NOW, "");
}

/* An older ranking must not arrive after a newer one; urgent mail waits for nothing. */
static void one_case_s_mails_keep_their_order(void **state)
{
    struct fixture *f = *state;
    add(f, "case", 1, 1);
    add(f, "case", 1, 2);
    add(f, "case", 7, 1);
    add(f, "urgent", 1, 0);
    add(f, "urgent", 1, 1);
    address(f, "case", false, (const char *const[]){"a@p", NULL});
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_due(f, false, NOW, "1:a@p 3:a@p");
    assert_due(f, true, NOW, "4:a@p 5:a@p");
    refuse(f, 1, "a@p", NOW + 60000, false);
    assert_due(f, false, NOW, "3:a@p");
    refuse(f, 1, "a@p", NOW, true);
    assert_due(f, false, NOW, "2:a@p 3:a@p");
}

static void a_clock_put_back_keeps_nothing_waiting(void **state)
{
    struct fixture *f = *state;
    add(f, "urgent", 1, 0);
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    refuse(f, 1, "a@p", NOW + 60000, false);
    assert_due(f, true, NOW, "");
    assert_due(f, true, NOW - WHEN_DAY_MS, "1:a@p");
}

static int note_waits(void *arg, const struct outbox_urgent *mail)
{
    *(bool *)arg = mail->waits;
    return 0;
}

static bool still_gathers(struct fixture *f, int64_t now_ms)
{
    bool waits = false;
    const struct when_span since_now = {NOW - WHEN_HOUR_MS, now_ms};
    assert_int_equal(outbox_urgent_of(f->store, 1, since_now, note_waits, &waits, NULL), 0);
    return waits;
}

/* The writer was stalled: what it adds now was reported long before the mail was taken up. */
static void nothing_is_added_to_what_is_under_way(void **state)
{
    struct fixture *f = *state;
    const int64_t leaves_ms = NOW + 600000, long_before_ms = leaves_ms - 30000;
    const struct outbox_new mail = {"urgent", 1, 0, "<u-1@p>", "{}", NOW, leaves_ms};
    bool any = true;
    assert_int_equal(outbox_add(f->store, &mail, NULL), 0);
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_int_equal(outbox_take_up(f->store, leaves_ms - 1, NULL), 0);
    assert_true(still_gathers(f, leaves_ms - 1));
    assert_due(f, true, leaves_ms, ""); /* nobody took it up */
    assert_int_equal(outbox_gathered_due(f->store, leaves_ms, &any, NULL), 0);
    assert_true(any);
    assert_int_equal(outbox_take_up(f->store, leaves_ms, NULL), 0);
    assert_due(f, true, leaves_ms, "1:a@p");
    assert_false(still_gathers(f, long_before_ms));
    assert_int_equal(outbox_gathered_due(f->store, leaves_ms, &any, NULL), 0);
    assert_false(any);
}

static void assert_stranded(struct fixture *f, const char *recipient, int64_t now_ms,
                            const char *expected)
{
    struct outbox_delivery rows[16];
    struct outbox_deliveries due = {rows, 0, 16};
    struct text_buffer out = {0};
    const struct outbox_addresses to = {.event = "urgent", .recipient = &recipient, .count = 1};
    assert_int_equal(outbox_stranded(f->store, &to, now_ms, &due, NULL), 0);
    text_append(&out, "");
    for (int i = 0; i < due.count; i++) {
        assert_string_equal(rows[i].recipient, recipient);
        text_appendf(&out, "%s%lld", i ? " " : "", (long long)rows[i].mail_id);
        outbox_delivery_free(&rows[i]);
    }
    assert_string_equal(out.data, expected);
    text_buffer_free(&out);
}

/* Of no case, and its payload says whose it is: that plant's people get it beside the company's. */
static void what_no_case_tells_reaches_a_plants_people_too(void **state)
{
    static const char *const PAYLOADS[] = {"{\"note\":\"of_plant: Larkfen\"}",
                                           "{\"of_plant\":\"Larkfen\",\"note\":\"\"}",
                                           "{\"reports\":[{\"of_plant\":\"Lark\\\"fen\"}]}",
                                           "{\"of_plant\":\"Larkfen\",\"of_plant_alone\":true}"};
    static const char *const PLANTS[] = {"Larkfen", "Lark\"fen"}, *const TO[] = {"l@p", "q@p"};
    static const char *const COMPANY[] = {"c@p"};
    struct fixture *f = *state;
    for (int i = 0; i < 4; i++) {
        char id[16];
        snprintf(id, sizeof id, "<%d@p>", i);
        const struct outbox_new mail = {"urgent", 0, 0, id, PAYLOADS[i], NOW, 0};
        assert_int_equal(outbox_add(f->store, &mail, NULL), 0);
    }
    for (int all = 0; all < 2; all++) {
        struct outbox_addresses to = {.event = "urgent",
                                      .recipient = COMPANY,
                                      .count = 1,
                                      .all = all,
                                      .but = ",Larkfen,Lark\"fen,"};
        assert_int_equal(outbox_address(f->store, &to, NOW, NULL), 0);
        for (int i = 0; i < 2; i++) {
            to = (struct outbox_addresses){.event = "urgent",
                                           .recipient = &TO[i],
                                           .count = 1,
                                           .all = all,
                                           .of = i ? ",Lark\"fen," : ",Larkfen,",
                                           .plant = PLANTS[i]};
            assert_int_equal(outbox_address(f->store, &to, NOW, NULL), 0);
        }
        assert_int_equal(outbox_addressed(f->store, "urgent", all, NULL), 0);
        assert_due(f, true, NOW, "1:c@p 2:l@p 3:q@p 2:c@p 4:l@p 3:c@p");
    }
}

/* On a full disk mail about harm leaves without a delivery, or what gathered it closed. */
static void harm_leaves_with_nothing_written(void **state)
{
    struct fixture *f = *state;
    const int64_t leaves_ms = NOW + 600000, late_ms = leaves_ms + 60000;
    const struct outbox_new gathers = {"urgent", 1, 0, "<u-3@p>", "{}", NOW, leaves_ms};
    const struct outbox_new gathered = {"urgent", 1, 0, "<u-4@p>", "{}", NOW, leaves_ms};
    add(f, "urgent", 1, 0);
    add(f, "case", 1, 1);
    assert_stranded(f, "a@p", NOW, "1");
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_stranded(f, "a@p", NOW, ""); /* it leaves as ever */
    assert_int_equal(outbox_add(f->store, &gathers, NULL), 0);
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_int_equal(outbox_add(f->store, &gathered, NULL), 0);
    assert_stranded(f, "a@p", leaves_ms, "");
    assert_stranded(f, "a@p", late_ms, "3 4");
    assert_int_equal(outbox_sent(f->store, 3, "a@p", late_ms, NULL), 0);
    assert_stranded(f, "a@p", late_ms, "4");
    assert_stranded(f, "b@p", late_ms, "4"); /* one that has deliveries has all it gets */
}

/* It would be tried for ever, and never leave. */
static void what_nobody_could_read_again_is_refused(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char *kept = NULL, *payload = xcalloc(1, JSONX_BYTES + 2);
    memset(payload, ' ', JSONX_BYTES + 1);
    struct outbox_new mail = {"urgent", 1, 0, "<u-1@p>", payload, NOW, 0};
    assert_int_equal(outbox_add(f->store, &mail, &err), ERROR_TOO_LARGE);
    mail.payload = "{}";
    assert_int_equal(outbox_add(f->store, &mail, NULL), 0);
    assert_int_equal(outbox_rewrite(f->store, 1, payload, &err), ERROR_TOO_LARGE);
    payload[JSONX_BYTES] = '\0';
    assert_int_equal(outbox_rewrite(f->store, 1, payload, NULL), 0);
    assert_int_equal(outbox_payload(f->store, 1, &kept, NULL), 0);
    assert_string_equal(kept, payload);
    free(kept);
    assert_int_equal(outbox_payload(f->store, 99, &kept, NULL), 0);
    assert_null(kept);
    free(payload);
}

static int list_one(void *arg, const struct outbox_mail *mail)
{
    text_appendf(arg, "%lld %s %s;", (long long)mail->id, mail->event, mail->state);
    return 0;
}

static bool is_stuck(struct fixture *f, int64_t now_ms)
{
    bool stuck = false;
    assert_int_equal(outbox_urgent_stuck(f->store, now_ms, &stuck, NULL), 0);
    return stuck;
}

static bool is_doubtful(struct fixture *f, int64_t now_ms)
{
    bool doubtful = false;
    assert_int_equal(outbox_doubtful(f->store, now_ms, &doubtful, NULL), 0);
    return doubtful;
}

/* A program that hangs on its first mail has failed at none yet. */
static void a_mail_that_is_tried_for_long_is_stuck(void **state)
{
    struct fixture *f = *state;
    assert_false(is_stuck(f, NOW + WHEN_DAY_MS));
    add(f, "urgent", 1, 0);
    assert_false(is_stuck(f, NOW + 5000));
    assert_true(is_stuck(f, NOW + 20000)); /* nobody took it up */
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_false(is_stuck(f, NOW + 5000));
    assert_true(is_stuck(f, NOW + 20000));
    outbox_sent(f->store, 1, "a@p", NOW, NULL);
    assert_false(is_stuck(f, NOW + WHEN_DAY_MS));
    add(f, "case", 2, 1);
    address(f, "case", false, (const char *const[]){"a@p", NULL});
    assert_false(is_doubtful(f, NOW + 20000)); /* many may wait their turn */
    assert_true(is_doubtful(f, NOW + 70000));
    assert_false(is_stuck(f, NOW + 70000)); /* it is no urgent one */
    add(f, "urgent", 3, 0);
    address(f, "urgent", false, (const char *const[]){"a@p", NULL});
    assert_false(is_stuck(f, NOW + 5000));
    refuse(f, 3, "a@p", NOW, false);
    assert_true(is_stuck(f, NOW + 5000)); /* tried, and it has not left */
}

static void people_see_what_is_stuck(void **state)
{
    struct fixture *f = *state;
    struct text_buffer out = {0};
    add(f, "case", 1, 1);
    add(f, "case", 2, 1);
    add(f, "urgent", 3, 0);
    address(f, "case", false, (const char *const[]){"a@p", NULL});
    refuse(f, 1, "a@p", NOW, true);
    outbox_sent(f->store, 2, "a@p", NOW, NULL);
    assert_int_equal(outbox_list(f->store, false, 9, list_one, &out, NULL), 0);
    assert_int_equal(outbox_list(f->store, true, 9, list_one, &out, NULL), 0);
    assert_string_equal(out.data, "3 urgent waiting;1 case parked;2 case sent;");
    text_buffer_free(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_mail_to_nobody_waits, setup, fixture_close),
        cmocka_unit_test_setup_teardown(each_recipient_by_itself, setup, fixture_close),
        cmocka_unit_test_setup_teardown(one_mail_is_sent_again_by_its_number, setup, fixture_close),
        cmocka_unit_test_setup_teardown(who_gets_what_waits_may_change, setup, fixture_close),
        cmocka_unit_test_setup_teardown(a_held_mail_is_not_among_all, setup, fixture_close),
        cmocka_unit_test_setup_teardown(the_hook_alone_sends_no_mail, setup, fixture_close),
        cmocka_unit_test_setup_teardown(what_was_never_tried_goes_first, setup, fixture_close),
        cmocka_unit_test_setup_teardown(one_case_s_mails_keep_their_order, setup, fixture_close),
        cmocka_unit_test_setup_teardown(a_clock_put_back_keeps_nothing_waiting, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(nothing_is_added_to_what_is_under_way, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(a_mail_that_is_tried_for_long_is_stuck, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(what_no_case_tells_reaches_a_plants_people_too, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(harm_leaves_with_nothing_written, setup, fixture_close),
        cmocka_unit_test_setup_teardown(what_nobody_could_read_again_is_refused, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(people_see_what_is_stuck, setup, fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
