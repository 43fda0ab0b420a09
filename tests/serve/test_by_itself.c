/* What the daemon does by itself, on a small plant and by the test's clock: contact data that goes,
 * Monday's digest, the day's list, backups, what has been kept long enough, rankings. */
#include "../failing.h"
#include "fixture.h"
#include "serve/background.h"
#include "serve/due_mail.h"
#include "serve/keeper.h"
#include "serve/upkeep.h"
#include "store/backup_last.h"
#include "store/db.h"
#include "store/work.h"
#include <event2/event.h>
#include <stdatomic.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"
#define MINUTE_MS INT64_C(60000)
#define PATIENCE_MS 60000

static int setup(void **state)
{
    *state = fixture_start(FIXTURE_SETTINGS ",'contact_days':1,'backup':{'keep':2}");
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

/* ---- by the minute ---- */

static void upkeep_at(struct fixture *f, const char *at)
{
    struct upkeep u = {.app = &f->app};
    atomic_bool stopping = false;
    if (at)
        f->now_ms = fixture_ms(at);
    upkeep_run(&u, f->app.setup, f->store, &stopping);
}

static int64_t mails(struct fixture *f, const char *event)
{
    int64_t count = -1;
    assert_int_equal(db_number(f->store, "SELECT COUNT(*) FROM outbox WHERE event = ?1",
                               DB(DB_TEXT(event)), &count, NULL),
                     0);
    return count;
}

/* A new daemon begins with the next Monday; each week's is queued once, from mail/digest_hour (6)
 * on, on Monday or whenever it comes to it that week. */
static void each_week_is_told_once(void **state)
{
    static const struct {
        const char *at;
        int mails;
    } TIMES[] = {{"2026-11-24T12:00:00-05:00", 0}, {"2026-11-29T23:59:00-05:00", 0},
                 {"2026-11-30T05:59:00-05:00", 0}, {"2026-11-30T06:00:00-05:00", 1},
                 {"2026-11-30T06:01:00-05:00", 1}, {"2026-12-06T12:00:00-05:00", 1},
                 {"2026-12-07T05:59:00-05:00", 1}, {"2026-12-09T04:00:00-05:00", 2},
                 {"2026-12-10T12:00:00-05:00", 2}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(TIMES); i++) {
        upkeep_at(f, TIMES[i].at);
        assert_int_equal(mails(f, "digest"), TIMES[i].mails);
    }
    assert_int_equal(fixture_count(f,
                                   "SELECT COUNT(*) FROM outbox WHERE message_id LIKE "
                                   "'<digest-2026-W48@%' OR message_id LIKE '<digest-2026-W49@%'"),
                     2);
}

/* From mail/due_hour (7) on, once a day, and only on a day on which there is anything. */
static void each_day_that_has_anything_due_is_told_once(void **state)
{
    static const struct {
        const char *at;
        int mails;
    } TIMES[] = {{"2026-11-24T12:30:00-05:00", 0}, {"2026-11-27T12:00:00-05:00", 0},
                 {"2026-11-29T06:59:00-05:00", 0}, {"2026-11-29T07:00:00-05:00", 1},
                 {"2026-11-29T23:59:00-05:00", 1}, {"2026-11-30T06:59:00-05:00", 1},
                 {"2026-11-30T07:00:00-05:00", 2}};
    struct fixture *f = *state;
    fixture_log(f, FIRST, "");
    fixture_does(f, "POST cases/C1/follow", "{'by':'mira','owner':'jo','due':'2026-11-28'}", 200);
    for (size_t i = 0; i < COUNT_OF(TIMES); i++) {
        upkeep_at(f, TIMES[i].at);
        if (mails(f, "due") != TIMES[i].mails)
            fail_msg("%s: %d", TIMES[i].at, (int)mails(f, "due"));
    }
}

/* Last week's digest and the day's list are due again. */
static int untell(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return db_exec(store,
                   "DELETE FROM outbox_text; DELETE FROM outbox; UPDATE setting SET value = CASE "
                   "key WHEN 'due/last' THEN '2026-11-28' ELSE '2026-W47' END WHERE key IN "
                   "('due/last', 'digest/last')",
                   err);
}

/* The mail of that event as it was queued; malloc'd, "" none. */
static char *queued(struct fixture *f, const char *event)
{
    struct text_buffer all = {0};
    struct db_query q = db_query(f->store,
                                 "SELECT x.payload FROM outbox o JOIN outbox_text x ON x.mail_id ="
                                 " o.id WHERE o.event = ?1",
                                 DB(DB_TEXT(event)), NULL);
    text_append(&all, "");
    while (db_next(&q))
        text_append(&all, db_text(&q, 0));
    assert_int_equal(db_end(&q, 0), 0);
    return text_take(&all);
}

/* Whatever cannot be read: the day waits, and is told whole or not at all. */
static void half_of_what_is_due_is_not_told(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char *whole = NULL;
    int refused = 0;
    fixture_log(f, FIRST, ",'contact':{'phone':'555 0100','callback':true}");
    fixture_does(f, "POST cases/C1/follow", "{'by':'mira','owner':'jo','due':'2026-11-27'}", 200);
    upkeep_at(f, "2026-11-28T12:00:00-05:00");
    f->now_ms = fixture_ms("2026-11-29T12:00:00-05:00");
    for (int at = -1; at <= 0 || failing_now()->failed; at++) {
        assert_int_equal(writer_run(f->app.writer, untell, NULL, NULL), 0);
        failing_begin(f->store, at);
        int rc = due_mail_if_due(&f->app, f->app.setup, f->store, &err);
        failing_end(f->store);
        error_clear(&err);
        char *told = queued(f, "due");
        whole = whole ? whole : xstrdup(told); /* the first was not hindered */
        if (strcmp(told, rc ? "" : whole) != 0)
            fail_msg("statement %d: %d, \"%s\"", at, rc, told);
        free(told);
        refused += rc != 0;
    }
    assert_non_null(strstr(whole, "\"C1\""));
    assert_true(refused > 5);
    free(whole);
}

/* ---- of a company's plants ---- */

static int setup_company(void **state)
{
    *state = fixture_start(FIXTURE_SETTINGS
                           ",'plants':{'Pell':{'mail':{'to':['qa@pell.example']}},'Tarn':{}}");
    return 0;
}

/* How many mails of that event go by that plant ("": the company's), and whether each text of
 * `has` stands in them and none of `lacks`. */
static void expect_told(struct fixture *f, const char *event, const char *plant, const char *has,
                        const char *lacks)
{
    static const char SQL[] =
        "SELECT x.payload FROM outbox o JOIN outbox_text x ON x.mail_id = o.id WHERE o.event = ?1"
        " AND coalesce((SELECT k.plant FROM complaint_case k WHERE k.id = o.case_id), '') = ?2";
    struct db_query q = db_query(f->store, SQL, DB(DB_TEXT(event), DB_TEXT(plant)), NULL);
    assert_true(db_next(&q));
    const char *payload = db_text(&q, 0);
    if (!strstr(payload, has) || (lacks && strstr(payload, lacks)))
        fail_msg("%s of %s: %s", event, plant, payload);
    assert_false(db_next(&q));
    assert_int_equal(db_end(&q, 0), 0);
}

/* A plant that has a list of its own is told of its own; the company's people of all. */
/* Nor a week half: its digests wait, the company's and a plant's. */
static void half_of_a_week_is_not_told(void **state)
{
    struct fixture *f = *state;
    char *whole = NULL;
    int waited = 0;
    fixture_log(f, FIRST, ",'plant':'Pell'");
    fixture_does(f, "POST cases/C1/follow", "{'by':'mira','owner':'jo','due':'2026-11-27'}", 200);
    upkeep_at(f, "2026-11-24T12:00:00-05:00");
    f->now_ms = fixture_ms("2026-11-30T06:30:00-05:00");
    for (int at = -1; at <= 0 || failing_now()->failed; at++) {
        assert_int_equal(writer_run(f->app.writer, untell, NULL, NULL), 0);
        failing_begin(f->store, at);
        upkeep_at(f, NULL);
        failing_end(f->store);
        char *told = queued(f, "digest");
        whole = whole ? whole : xstrdup(told);
        if (*told && strcmp(told, whole) != 0)
            fail_msg("statement %d: \"%s\" for \"%s\"", at, told, whole);
        waited += !*told;
        free(told);
    }
    assert_non_null(strstr(whole, "\"C1\""));
    assert_non_null(strstr(whole, "\"plant\":\"Pell\""));
    assert_true(waited > 5);
    free(whole);
}

static void the_week_and_what_is_due_are_told_to_a_plants_own_list(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, ",'plant':'Pell'");
    fixture_log(f, SECOND, ",'plant':'Tarn'");
    fixture_does(f, "POST cases/C1/follow", "{'by':'mira','owner':'jo','due':'2026-11-28'}", 200);
    fixture_does(f, "POST cases/C2/follow", "{'by':'mira','owner':'jo','due':'2026-11-28'}", 200);
    upkeep_at(f, "2026-11-24T12:30:00-05:00");
    upkeep_at(f, "2026-11-30T07:00:00-05:00");
    upkeep_at(f, "2026-11-30T07:01:00-05:00");
    assert_int_equal(mails(f, "due"), 2);
    expect_told(f, "due", "Pell", "\"C1\"", "\"C2\"");
    expect_told(f, "due", "", "\"C2\"", NULL);
    expect_told(f, "due", "", "\"C1\"", NULL);
    assert_int_equal(mails(f, "digest"), 2);
    expect_told(f, "digest", "Pell", "\"plant\":\"Pell\"", "Tarn");
    expect_told(f, "digest", "", "\"mold\":2", NULL);
    assert_int_equal(fixture_count(f, "SELECT COUNT(DISTINCT message_id) FROM outbox"), 4);
}

static int64_t contacts(struct fixture *f)
{
    return fixture_count(f, "SELECT COUNT(*) FROM contact");
}

/* contact_days after it came (1 here), and only once the clock has gone steadily for a day: who
 * sets it wrong loses no contact data. */
static void contact_data_goes_by_a_steady_clock(void **state)
{
    struct fixture *f = *state;
    upkeep_at(f, NULL);
    fixture_log(f, FIRST, ",'contact':{'name':'Ann Bee','phone':'555-0101'}");
    assert_int_equal(contacts(f), 1);
    f->now_ms += 3 * WHEN_DAY_MS; /* a jump */
    const int64_t since_ms = f->now_ms;
    upkeep_at(f, NULL);
    while (f->now_ms < since_ms + WHEN_DAY_MS - 50 * MINUTE_MS) {
        f->now_ms += 50 * MINUTE_MS;
        upkeep_at(f, NULL);
        assert_int_equal(contacts(f), 1);
    }
    f->now_ms = since_ms + WHEN_DAY_MS;
    upkeep_at(f, NULL);
    assert_int_equal(contacts(f), 0);
}

/* ---- the keeper ---- */

/* Starts it, and ends it once it has looked at everything: last it lets go of what is old. */
static void keep(struct fixture *f)
{
    struct event_base *base = event_base_new();
    struct keeper *keeper = NULL;
    struct keeper_told told;
    struct error err = {0};
    const uint64_t jobs = writer_counts(f->app.writer).jobs;
    const int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    if (keeper_start(base, &f->app, &keeper, &err))
        fail_msg("%s", err.text);
    do {
        event_base_loop(base, EVLOOP_NONBLOCK);
        usleep(1000);
        keeper_tell(keeper, &told);
        assert_true(clock_monotonic_ms() < until_ms);
    } while (told.checked_ms == WHEN_UNKNOWN_MS || writer_counts(f->app.writer).jobs == jobs);
    assert_int_equal(told.checked_ms, f->now_ms);
    assert_int_equal(told.damage.code, 0);
    keeper_free(keeper);
    event_base_free(base);
}

static int64_t last_backup(struct fixture *f, char path[512])
{
    struct backup_last last;
    assert_int_equal(backup_last_get(f->store, &last, NULL), 0);
    snprintf(path, 512, "%s", last.path);
    return last.at_ms;
}

/* The first ten minutes after a start that finds none, then every 24 hours; a new one where the
 * last is gone, or of a time to come. */
static void a_backup_is_made_when_it_is_due(void **state)
{
    struct fixture *f = *state;
    char path[512], first[512];
    f->app.started_monotonic_ms = clock_monotonic_ms();
    keep(f);
    assert_int_equal(last_backup(f, path), WHEN_UNKNOWN_MS);
    f->app.started_monotonic_ms = clock_monotonic_ms() - 10 * MINUTE_MS;
    keep(f);
    int64_t made_ms = last_backup(f, first);
    assert_int_equal(made_ms, f->now_ms);
    f->now_ms = made_ms + 24 * WHEN_HOUR_MS - 1;
    keep(f);
    assert_int_equal(last_backup(f, path), made_ms);
    f->now_ms = made_ms + 24 * WHEN_HOUR_MS;
    keep(f);
    assert_int_equal(last_backup(f, path), f->now_ms);
    assert_int_equal(access(first, F_OK), 0); /* two are kept */
    f->now_ms += MINUTE_MS;
    assert_int_equal(unlink(path), 0);
    keep(f);
    assert_int_equal(last_backup(f, path), f->now_ms);
    f->now_ms -= WHEN_HOUR_MS;
    keep(f);
    assert_int_equal(last_backup(f, path), f->now_ms);
    assert_int_equal(access(path, F_OK), 0);
}

static void where_no_backup_is_wanted_none_is_made(void **state)
{
    struct fixture *f = *state;
    char path[512];
    struct error err = {0};
    fixture_settings(f, FIXTURE_SETTINGS ",'backup':{'every_h':0}");
    if (app_reload(&f->app, &err))
        fail_msg("%s", err.text);
    keep(f);
    assert_int_equal(last_backup(f, path), WHEN_UNKNOWN_MS);
}

/* A folder of backups that is none. */
static void a_backup_that_fails_is_told(void **state)
{
    struct fixture *f = *state;
    struct event_base *base = event_base_new();
    struct keeper *keeper = NULL;
    struct keeper_told told;
    char path[512];
    const int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    snprintf(path, sizeof path, "%s/backups", f->dir);
    FILE *file = fopen(path, "w");
    assert_true(file && fclose(file) == 0);
    f->app.log.level = 0;
    assert_int_equal(keeper_start(base, &f->app, &keeper, NULL), 0);
    do {
        event_base_loop(base, EVLOOP_NONBLOCK);
        usleep(1000);
        keeper_tell(keeper, &told);
        assert_true(clock_monotonic_ms() < until_ms);
    } while (!told.unbacked.code);
    assert_int_equal(last_backup(f, path), WHEN_UNKNOWN_MS);
    keeper_free(keeper);
    event_base_free(base);
}

/* Older than its setting says, by a millisecond. */
static void what_has_been_kept_long_enough_goes(void **state)
{
    struct fixture *f = *state;
    fixture_does(f, "POST records/products?source=old",
                 "product,name,family,shelf_life_days,unit_g\nW24,Mill,pan-bread,10,680\n", 200);
    const int64_t loaded_ms = f->now_ms;
    f->now_ms = loaded_ms + 10 * WHEN_DAY_MS;
    fixture_does(f, "POST records/products?source=new",
                 "product,name,family,shelf_life_days,unit_g\nW25,Rye,pan-bread,10,680\n", 200);
    f->now_ms = loaded_ms + 400 * WHEN_DAY_MS; /* keep/loads_days */
    keep(f);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM load_file"), 2);
    f->now_ms += 1;
    keep(f);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM load_file"), 1);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM load_file WHERE source = 'new'"), 1);
}

/* ---- the background ---- */

static int64_t waits(struct fixture *f, const char *kind)
{
    int64_t count = -1;
    assert_int_equal(work_count(f->store, kind, &count, NULL), 0);
    return count;
}

/* A datagram of the service manager's socket. */
static int manager(struct fixture *f, char path[108])
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    snprintf(path, 108, "%s/notify", f->dir);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
    assert_true(fd >= 0 && bind(fd, (struct sockaddr *)&address, sizeof address) == 0);
    return fd;
}

static int64_t ranked(struct fixture *f)
{
    return fixture_count(f, "SELECT COUNT(DISTINCT case_id) FROM ranking");
}

/* What is logged is ranked and mailed, the clock's part is done, and the watchdog is told. */
static void the_background_does_what_is_due(void **state)
{
    struct fixture *f = *state;
    struct event_base *base = event_base_new();
    struct background *bg = NULL;
    struct error err = {0};
    char path[108], said[64] = "";
    const int64_t until_ms = clock_monotonic_ms() + PATIENCE_MS;
    int fd = manager(f, path);
    bool is_told = false;
    setenv("NOTIFY_SOCKET", path, 1);
    fixture_log(f, FIRST, "");
    fixture_log(f, SECOND, ",'harm':['illness']");
    assert_true(waits(f, WORK_RANK) > 0);
    f->now_ms += MINUTE_MS;
    if (background_start(base, &f->app, NULL, &bg, &err))
        fail_msg("%s", err.text);
    char *week = NULL;
    app_wake(&f->app);
    while (ranked(f) < 2 || !week || !is_told) {
        if (clock_monotonic_ms() > until_ms)
            fail_msg("ranked %d, week %s, told %d, %d wait", (int)ranked(f), week ? week : "none",
                     is_told, (int)waits(f, WORK_RANK));
        event_base_loop(base, EVLOOP_NONBLOCK);
        usleep(1000);
        free(week);
        assert_int_equal(store_setting_get(f->store, "digest/last", &week, &err), 0);
        while (recv(fd, said, sizeof said - 1, 0) > 0)
            is_told = true;
    }
    assert_string_equal(week, "2026-W47");
    assert_non_null(strstr(said, "WATCHDOG=1"));
    while (!background_stopping(bg))
        usleep(1000);
    background_close(bg);
    fixture_log(f, "01990000-0000-7000-8000-000000000003", "");
    event_base_loop(base, EVLOOP_NONBLOCK); /* in vain */
    assert_int_equal(ranked(f), 2);
    background_free(bg);
    assert_null(f->app.wake);
    unsetenv("NOTIFY_SOCKET");
    free(week);
    close(fd);
    event_base_free(base);
}

/* What was begun is dropped a minute after its last part, whatever the clock on the wall says. */
static void an_upload_ages_by_a_steady_clock(void **state)
{
    static const char *const PART[] = {
        "POST attachments/parts?upload=01990000-0000-4000-8000-000000000001&part=0",
        "POST attachments/parts?upload=01990000-0000-4000-8000-000000000001&part=1",
        "POST attachments/parts?upload=01990000-0000-4000-8000-000000000001&part=2"};
    struct fixture *f = *state;
    fixture_does(f, PART[0], "x", 200);
    f->now_ms -= WHEN_DAY_MS;
    uploads_expire(f->app.uploads, clock_monotonic_ms());
    fixture_does(f, PART[1], "y", 200);
    f->now_ms += 2 * WHEN_DAY_MS;
    uploads_expire(f->app.uploads, clock_monotonic_ms() + MINUTE_MS + 1);
    fixture_does(f, PART[2], "z", 404);
}

int main(void)
{
#define EACH(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
    const struct CMUnitTest tests[] = {
        EACH(each_week_is_told_once),
        EACH(each_day_that_has_anything_due_is_told_once),
        EACH(half_of_what_is_due_is_not_told),
        cmocka_unit_test_setup_teardown(half_of_a_week_is_not_told, setup_company, teardown),
        cmocka_unit_test_setup_teardown(the_week_and_what_is_due_are_told_to_a_plants_own_list,
                                        setup_company, teardown),
        EACH(contact_data_goes_by_a_steady_clock),
        EACH(a_backup_is_made_when_it_is_due),
        EACH(where_no_backup_is_wanted_none_is_made),
        EACH(a_backup_that_fails_is_told),
        EACH(what_has_been_kept_long_enough_goes),
        EACH(the_background_does_what_is_due),
        EACH(an_upload_ages_by_a_steady_clock),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
