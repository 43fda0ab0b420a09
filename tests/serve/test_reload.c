/* What a reload changes, owes, and leaves as it was; the way back to a backup. */
#include "fixture.h"
#include "rules/severity.h"
#include "serve/restoring.h"
#include "store/seen.h"
#include "store/work.h"
#include <unistd.h>

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"

static int setup(void **state)
{
    *state = fixture_start(FIXTURE_SETTINGS);
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

static int change(struct store *store, void *sql, struct error *err)
{
    return db_run(store, sql, NULL, err);
}

static void run_sql(struct fixture *f, const char *sql)
{
    struct error err = {0};
    if (writer_run(f->app.writer, change, (void *)sql, &err))
        fail_msg("%s", err.text);
}

static int64_t waits(struct fixture *f, const char *kind)
{
    int64_t count = -1;
    assert_int_equal(work_count(f->store, kind, &count, NULL), 0);
    return count;
}

/* ---- a reload ---- */

static void reload(struct fixture *f, const char *settings, int code)
{
    struct error err = {0};
    fixture_settings(f, settings);
    int rc = app_reload(&f->app, &err);
    if (rc != code)
        fail_msg("%s: %d %s", settings, rc, err.text);
}

static void settle(struct fixture *f)
{
    run_sql(f, "DELETE FROM work");
}

/* Lots are looked for again where they are settled otherwise, and only then. */
static void a_reload_owes_what_it_changed(void **state)
{
    static const struct {
        const char *settings;
        int rematch;
    } RELOADS[] = {{FIXTURE_SETTINGS ",'contact_days':2", 0},
                   {FIXTURE_SETTINGS ",'settle_lot_at':95", 1},
                   {FIXTURE_SETTINGS ",'settle_lot_at':95,'contact_days':3", 0},
                   {FIXTURE_SETTINGS, 1}};
    struct fixture *f = *state;
    reload(f, FIXTURE_SETTINGS, 0);
    for (size_t i = 0; i < COUNT_OF(RELOADS); i++) {
        settle(f);
        reload(f, RELOADS[i].settings, 0);
        if (waits(f, WORK_REMATCH) != RELOADS[i].rematch)
            fail_msg("%s: %d", RELOADS[i].settings, (int)waits(f, WORK_REMATCH));
    }
}

#define CALLER "'contact':{'name':'Ada Marsh','phone':'555-0101'}"

static size_t offered(struct fixture *f)
{
    struct asked *a = fixture_ask(f, f->store, "POST complaints/preview",
                                  "{'received_at':'2026-11-22T11:00:00-05:00','channel':'phone',"
                                  "'symptom':'mold'," CALLER "}");
    json_t *answer = json_loads(a->body.data, 0, NULL);
    size_t count = json_array_size(json_object_get(answer, "similar"));
    assert_int_equal(a->status, 200);
    json_decref(answer);
    fixture_asked_free(a);
    return count;
}

/* Two days lie between the reports. */
static void what_is_offered_as_one_goes_by_similar_days(void **state)
{
    static const struct {
        const char *settings;
        size_t count;
    } RELOADS[] = {{FIXTURE_SETTINGS ",'similar_days':1", 0},
                   {FIXTURE_SETTINGS ",'similar_days':2", 1}};
    struct fixture *f = *state;
    fixture_log(f, FIRST, "," CALLER);
    for (size_t i = 0; i < COUNT_OF(RELOADS); i++) {
        reload(f, RELOADS[i].settings, 0);
        if (offered(f) != RELOADS[i].count)
            fail_msg("%s", RELOADS[i].settings);
    }
}

static const char *first_of(const json_t *list)
{
    return json_string_value(json_array_get(list, 0));
}

static void mail_goes_by_its_settings(void **state)
{
    struct fixture *f = *state;
    reload(f,
           "'plant':'Mill','time_zone':'UTC','hook':{'program':'/bin/false'},'mail':{'program':"
           "'/bin/true','from':'f@x.example','to':['a@x.example'],'urgent_to':['b@x.example'],"
           "'digest_to':['c@x.example'],'records_to':['d@x.example'],'due_to':['e@x.example'],"
           "'sheet_kb':1,'timeout_s':2,'retry_s':3,'park_h':4}",
           0);
    const struct mail_settings mail = setup_mail(f->app.setup);
    assert_string_equal(mail.plant, "Mill");
    assert_string_equal(mail.program, "/bin/true");
    assert_string_equal(mail.hook_program, "/bin/false");
    assert_string_equal(mail.from, "f@x.example");
    const json_t *const lists[] = {mail.to, mail.urgent_to, mail.digest_to, mail.records_to,
                                   mail.due_to};
    for (size_t i = 0; i < COUNT_OF(lists); i++)
        assert_int_equal(first_of(lists[i])[0], "abcde"[i]);
    assert_int_equal(mail.sheet_kb, 1);
    assert_int_equal(mail.timeout_s, 2);
    assert_int_equal(mail.retry_s, 3);
    assert_int_equal(mail.park_h, 4);
}

#define UPLOAD "01990000-0000-7000-8000-00000000000"

static void attach(struct fixture *f, char number, size_t bytes, int status)
{
    char what[128], body[256], *text = xmalloc(bytes + 1);
    memset(text, number, bytes);
    text[bytes] = '\0';
    snprintf(what, sizeof what, "POST attachments/parts?part=0&upload=" UPLOAD "%c", number);
    snprintf(body, sizeof body, "{'to':'%s','upload':'" UPLOAD "%c','name':'lab.txt','by':'jo'}",
             FIRST, number);
    bool part_too_large = bytes > 1 << 20;
    fixture_does(f, what, text, part_too_large ? status : 200);
    if (!part_too_large)
        fixture_does(f, "POST attachments", body, status);
    free(text);
}

/* Of one file, of a case with its complaints, of one user within a day. */
static void how_much_may_be_attached_goes_by_the_settings(void **state)
{
    enum { MOST = 1 << 20 };
    struct fixture *f = *state;
    f->app.log.level = 0;
    fixture_log(f, FIRST, "");
    reload(f, FIXTURE_SETTINGS ",'attach':{'file_mb':1,'case_mb':1}", 0);
    attach(f, '1', MOST + 1, 413);
    attach(f, '2', MOST, 200);
    attach(f, '3', 100, 413);
    reload(f, FIXTURE_SETTINGS ",'attach':{'user_mb':1}", 0);
    attach(f, '4', 100, 413);
}

/* What is refused changes nothing and is told until a reload is taken. */
static void a_reload_that_is_refused_changes_nothing(void **state)
{
    struct fixture *f = *state;
    struct setup *was = f->app.setup;
    f->app.log.level = 0;
    reload(f, FIXTURE_SETTINGS ",'contact_days':0", ERROR_INVALID);
    assert_ptr_equal(f->app.setup, was);
    assert_non_null(strstr(f->app.reload_error, "contact_days"));
    reload(f,
           "'time_zone':'America/New_York','plant':'Harrow Mill Bakery','mail':{'to':['nobody']}",
           ERROR_INVALID);
    assert_ptr_equal(f->app.setup, was);
    reload(f, FIXTURE_SETTINGS, 0);
    assert_ptr_not_equal(f->app.setup, was);
    assert_int_equal(f->app.setup->loaded_ms, f->now_ms);
    assert_string_equal(f->app.reload_error, "");
}

static void reloaded(void *arg)
{
    ++*(int *)arg;
}

/* A setting that a running daemon cannot change stays as it was, and is named. */
static void what_needs_a_restart_waits_for_it(void **state)
{
    struct fixture *f = *state;
    int count = 0;
    f->app.reloaded = reloaded;
    f->app.reloaded_arg = &count;
    f->app.log.level = 0;
    reload(f, FIXTURE_SETTINGS ",'tcp':{'listen':'127.0.0.1:1'}", 0);
    assert_int_equal(count, 1);
    assert_int_equal(json_array_size(f->app.setup->needs_restart), 1);
    assert_string_equal(json_string_value(json_array_get(f->app.setup->needs_restart, 0)),
                        "tcp/listen");
    assert_string_equal(config_text(f->app.setup->config, "tcp/listen"), "");
    f->app.reloaded = NULL;
}

/* ---- rules of plants ---- */

#define PLANTS FIXTURE_SETTINGS ",'plants':{'north':{},'south':{}}"

static void put_rule(struct fixture *f, const char *name, const char *text)
{
    char path[300], command[400];
    snprintf(path, sizeof path, "%s/own/%s", f->dir, name);
    snprintf(command, sizeof command, "mkdir -p \"$(dirname '%s')\"", path);
    assert_int_equal(system(command), 0);
    FILE *file = fopen(path, "w");
    assert_true(file && fputs(text, file) >= 0 && fclose(file) == 0);
}

/* A cause's file as it is shipped, with its weight of mold said otherwise. */
static void put_cause(struct fixture *f, const char *name, double weight)
{
    json_t *cause = json_load_file(ODDLOAF_SOURCE_DIR "/rules/causes/packed-hot.json", 0, NULL);
    json_object_set_new(json_object_get(cause, "symptoms"), "mold", json_real(weight));
    char *text = json_dumps(cause, 0);
    put_rule(f, name, text);
    free(text);
    json_decref(cause);
}

static void own_rules(struct fixture *f, char dirs[300])
{
    snprintf(dirs, 300, "%s/own:" ODDLOAF_SOURCE_DIR "/rules", f->dir);
    f->app.rules_dir = dirs;
}

#define SEVERITY_OF_NORTH                                                                          \
    "{\"levels\":{\"low\":{\"from\":0,\"source\":\"s\"},\"usual\":{\"from\":1,\"source\":\"s\"},"  \
    "\"high\":{\"from\":2,\"due_days\":1,\"call_back_days\":1,\"source\":\"s\"},\"urgent\":{"      \
    "\"from\":"                                                                                    \
    "3,\"due_days\":1,\"call_back_days\":1,\"source\":\"s\"}},\"points\":{\"harm\":{\"steps\":[["  \
    "1,3]],"                                                                                       \
    "\"because\":\"b\",\"source\":\"s\"},\"may_harm\":{\"steps\":[[1,2]],\"because\":\"b\","       \
    "\"source\":"                                                                                  \
    "\"s\"}}}"

/* One plant's file: all of its set is another, nothing of the company's, and what is open is ranked
 * again; a file that is wrong leaves all plants, and the company, as they were. */
static void a_plants_rules_come_with_a_reload(void **state)
{
    struct fixture *f = *state;
    char dirs[300], company[80];
    own_rules(f, dirs);
    fixture_log(f, FIRST, "");
    reload(f, PLANTS, 0);
    strcpy(company, triage_hash(f->app.setup->triage));
    settle(f);
    put_cause(f, "plants/north/causes/packed-hot.json", 0.5);
    put_rule(f, "plants/north/severity.json", SEVERITY_OF_NORTH);
    put_rule(f, "plants/west/ranking.json", "{\"temper\":99}"); /* no plant: nobody reads it */
    reload(f, PLANTS, 0);
    const struct setup *setup = f->app.setup;
    assert_string_equal(triage_hash(setup->triage), company);
    assert_string_not_equal(triage_hash(triage_of(setup->triage, "north")), company);
    assert_ptr_equal(triage_of(setup->triage, "south"), setup->triage);
    assert_int_equal(severity_points(severity_of(setup->severity, "north"), SEVERITY_HARM, 1), 3);
    assert_ptr_equal(severity_of(setup->severity, "south"), setup->severity);
    assert_int_equal(waits(f, WORK_AGAIN), 1);
    settle(f);
    reload(f, PLANTS, 0); /* nothing changed */
    assert_int_equal(waits(f, WORK_AGAIN), 0);

    struct setup *was = f->app.setup;
    f->app.log.level = 0;
    put_rule(f, "ranking.json", "{\"temper\":1.1}");
    put_rule(f, "plants/south/ranking.json", "{\"temper\":99}");
    reload(f, PLANTS, ERROR_INVALID);
    assert_ptr_equal(f->app.setup, was);
    assert_non_null(strstr(f->app.reload_error, "plants/south/ranking.json:1:"));
    put_rule(f, "plants/south/ranking.json", "{\"temper\":1.2}");
    put_rule(f, "plants/north/severity.json", "{}");
    reload(f, PLANTS, ERROR_INVALID);
    assert_non_null(strstr(f->app.reload_error, "plants/north/severity.json"));
    put_rule(f, "plants/north/severity.json", SEVERITY_OF_NORTH);
    reload(f, PLANTS, 0);
    assert_string_not_equal(triage_hash(f->app.setup->triage), company);
    assert_ptr_not_equal(triage_of(f->app.setup->triage, "south"), f->app.setup->triage);
    reload(f, FIXTURE_SETTINGS, 0); /* no company of plants any more: their files lie there */
    assert_ptr_equal(triage_of(f->app.setup->triage, "north"), f->app.setup->triage);
}

static json_t *rules_told(struct fixture *f)
{
    struct asked *a = fixture_ask(f, f->store, "GET rules", "");
    json_t *answer = json_loads(a->body.data, 0, NULL);
    assert_int_equal(a->status, 200);
    fixture_asked_free(a);
    return answer;
}

/* Who sees one plant is told of that plant's files alone. */
static void files_of_a_plant_are_told_to_who_sees_it(void **state)
{
    static const struct seen_plants SOUTH = {1, {"south"}, "mira"};
    struct fixture *f = *state;
    char dirs[300];
    own_rules(f, dirs);
    put_cause(f, "causes/packed-hot.json", 0.4);
    put_cause(f, "plants/north/causes/packed-hot.json", 0.5);
    put_rule(f, "plants/south/ranking.json", "{\"temper\":1.2}");
    reload(f, PLANTS, 0);
    for (int all = 1; all >= 0; all--) {
        if (!all)
            seen_set(f->store, &SOUTH);
        json_t *told = rules_told(f);
        char *text = json_dumps(told, 0);
        assert_int_equal(json_array_size(json_object_get(told, "own")), all ? 3 : 2);
        assert_int_equal(json_array_size(json_object_get(told, "of_plants")), all ? 2 : 1);
        assert_int_equal(strstr(text, "north") != NULL, all);
        assert_non_null(strstr(text, "\"plant\": \"south\""));
        free(text);
        json_decref(told);
    }
    seen_set(f->store, NULL);
}

/* ---- files of lines ---- */

static void a_file_of_lines_is_over_two_seconds_after_its_last(void **state)
{
    struct fixture *f = *state;
    assert_false(app_in_bulk(&f->app, f->store));
    app_bulk_now(&f->app);
    assert_true(app_in_bulk(&f->app, f->store));
    f->app.bulk_ms -= 2000;
    assert_false(app_in_bulk(&f->app, f->store));
}

/* ---- the way back ---- */

static char *printed(const struct restored *r)
{
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    restoring_print(r, out);
    assert_int_equal(fclose(out), 0);
    return text;
}

static void a_restore_tells_what_came_after_the_backup(void **state)
{
    struct fixture *f = *state;
    struct restored r;
    struct error err = {0};
    char path[512];
    const struct log none = {.level = 0};
    fixture_log(f, FIRST, "");
    fixture_does(f, "POST backup", "{'path':'a.db'}", 200);
    snprintf(path, sizeof path, "%s/backups/a.db", f->dir);
    assert_int_equal(access(path, F_OK), 0);
    fixture_log(f, SECOND, "");
    fixture_does(f, "POST complaints/" FIRST "/withdraw", "{'reason':'twice','by':'Mira'}", 200);
    /* a daemon has the state: nothing is restored */
    assert_int_equal(restoring_run(&none, f->dir, "a.db", &r, &err), ERROR_CONFLICT);
    store_close(f->store);
    readers_close(f->app.readers);
    writer_close(f->app.writer);
    error_clear(&err);
    assert_int_not_equal(restoring_run(&none, f->dir, "b.db", &r, &err), 0);
    error_clear(&err);
    if (restoring_run(&none, f->dir, "a.db", &r, &err))
        fail_msg("%s", err.text);
    char *text = printed(&r);
    assert_non_null(strstr(text, "kept only: complaints 1, withdrawals 1.\n"));
    assert_non_null(strstr(text, "is kept in "));
    free(text);
    r.past_read = true;
    for (int i = 0; i < RESTORE_KINDS; i++)
        r.missing[i].count = 0;
    r.kept[0] = '\0';
    text = printed(&r);
    assert_non_null(strstr(text, "kept only: nothing.\n"));
    assert_non_null(strstr(text, "Nothing was there before.\n"));
    free(text);
    assert_int_equal(store_open(f->dir, STORE_READ, &f->store, &err), 0);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM complaint"), 1);
}

int main(void)
{
#define EACH(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
    const struct CMUnitTest tests[] = {
        EACH(a_reload_owes_what_it_changed),
        EACH(what_is_offered_as_one_goes_by_similar_days),
        EACH(mail_goes_by_its_settings),
        EACH(how_much_may_be_attached_goes_by_the_settings),
        EACH(a_reload_that_is_refused_changes_nothing),
        EACH(what_needs_a_restart_waits_for_it),
        EACH(a_plants_rules_come_with_a_reload),
        EACH(files_of_a_plant_are_told_to_who_sees_it),
        EACH(a_file_of_lines_is_over_two_seconds_after_its_last),
        EACH(a_restore_tells_what_came_after_the_backup),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
