/* How the daemon is: what asks for a hand and from where on (oddloaf(1), oddloafd(8)), what status
 * and metrics tell of a small plant, and what both say of a database that cannot be read. */
#include "../failing.h"
#include "../told.h"
#include "fixture.h"
#include "serve/health.h"
#include <event2/event.h>
#include <unistd.h>

#define HOUR_MS WHEN_HOUR_MS
#define MINUTE_MS INT64_C(60000)

struct looked {
    struct fixture *f;
    struct event_base *base;
    struct health h;
};

/* A plant that needs nothing: its mail is set up, its disk has room, a backup lies there. */
#define QUIET FIXTURE_SETTINGS ",'disk_low_mb':0,'inbox':{'folder':'/tmp/oddloaf-no-such'}"

static int setup(void **state)
{
    struct looked *l = xcalloc(1, sizeof *l);
    struct error err = {0};
    struct keeper_told told;
    l->f = fixture_start(QUIET);
    l->base = event_base_new();
    if (keeper_start(l->base, &l->f->app, &l->f->app.keeper, &err) ||
        inbox_start(l->base, &l->f->app, &l->f->app.inbox, &err))
        fail_msg("%s", err.text);
    const int64_t until_ms = clock_monotonic_ms() + 60000;
    struct inbox_told inbox;
    do {
        event_base_loop(l->base, EVLOOP_NONBLOCK);
        usleep(1000);
        keeper_tell(l->f->app.keeper, &told);
        inbox_tell(l->f->app.inbox, &inbox);
        assert_true(clock_monotonic_ms() < until_ms);
    } while (told.checked_ms == WHEN_UNKNOWN_MS || !inbox.set_up);
    *state = l;
    return 0;
}

static int teardown(void **state)
{
    struct looked *l = *state;
    keeper_free(l->f->app.keeper);
    inbox_free(l->f->app.inbox);
    event_base_free(l->base);
    int rc = fixture_stop(l->f);
    free(l);
    return rc;
}

static void look(struct looked *l)
{
    health_read(&l->f->app, l->f->app.setup, l->f->store, &l->h);
    assert_int_equal(l->h.unread.code, 0);
    l->h.inbox.set_up = false;
    error_clear(&l->h.inbox.fault);
    l->h.backup.at_ms = l->h.now_ms;
    l->h.backup.is_there = true;
}

/* "a b": what is asked for, most urgent first. Each says something and what to do. */
static void needs(const struct health *h, const char *want)
{
    struct text_buffer got = {0};
    json_t *list = health_needs(h);
    size_t i;
    json_t *one;
    json_array_foreach(list, i, one)
    {
        text_appendf(&got, "%s%s", i ? " " : "", json_string_value(json_object_get(one, "what")));
        assert_true(strlen(json_string_value(json_object_get(one, "says"))) > 0);
        assert_true(strlen(json_string_value(json_object_get(one, "do"))) > 0);
    }
    assert_string_equal(got.data ? got.data : "", want);
    text_buffer_free(&got);
    json_decref(list);
}

/* ---- one thing at a time, just not and just so ---- */

static void set_error(struct error *err, bool is)
{
    error_clear(err);
    if (is) {
        error_set(err, ERROR_IO, "it broke");
        error_hint(err, "mend it");
    }
}

static void lost(struct health *h, bool is)
{
    set_error(&h->writer.lost, is);
}

static void unread(struct health *h, bool is)
{
    set_error(&h->unread, is);
}

static void damaged(struct health *h, bool is)
{
    set_error(&h->keeper.damage, is);
}

/* disk_low_mb is 0 here: room for the database once more. */
static void disk(struct health *h, bool is)
{
    h->disk_free_bytes = h->size.db_bytes - is;
}

static void disk_beside_a_server(struct health *h, bool is)
{
    h->size.elsewhere = !is;
    h->disk_free_bytes = 0;
}

static void disk_unknown(struct health *h, bool is)
{
    h->disk_free_bytes = is ? 0 : -1;
}

static void urgent(struct health *h, bool is)
{
    h->outbox.oldest_urgent_ms = h->now_ms - 10 * MINUTE_MS - is;
}

/* As soon as it could not leave, not ten minutes later. */
static void urgent_tried(struct health *h, bool is)
{
    h->outbox.oldest_urgent_ms = h->now_ms - 1000;
    h->urgent_stuck = is;
}

static void parked(struct health *h, bool is)
{
    h->outbox.parked = is;
}

/* Two times every_h, 24 here. */
static void old_backup(struct health *h, bool is)
{
    h->backup.at_ms = h->now_ms - 48 * HOUR_MS - is;
}

static void gone_backup(struct health *h, bool is)
{
    h->backup.is_there = !is;
}

static void failed_backup(struct health *h, bool is)
{
    set_error(&h->keeper.unbacked, is);
}

/* Of what holds nothing yet none is missed. */
static void no_backup(struct health *h, bool is)
{
    h->backup.at_ms = WHEN_UNKNOWN_MS;
    h->uptime_s = 7201;
    h->totals.lots = is;
}

static void no_backup_of_complaints(struct health *h, bool is)
{
    no_backup(h, false);
    h->totals.complaints = is;
}

static void no_backup_so_soon(struct health *h, bool is)
{
    no_backup(h, true);
    h->uptime_s = 7200 + is;
}

static void failed_load(struct health *h, bool is)
{
    h->failed_loads = is;
}

static void inbox_fault(struct health *h, bool is)
{
    h->inbox.set_up = true;
    set_error(&h->inbox.fault, is);
}

static void inbox_refused(struct health *h, bool is)
{
    h->inbox.set_up = true;
    h->inbox.refused_there = is;
}

static void inbox_unset(struct health *h, bool is)
{
    inbox_refused(h, true);
    h->inbox.set_up = is;
}

static void reload(struct health *h, bool is)
{
    snprintf(h->reload_error, sizeof h->reload_error, "%s", is ? "it broke" : "");
}

static void harm_unowned(struct health *h, bool is)
{
    h->harm.unowned = is;
}

static void harm_unread(struct health *h, bool is)
{
    h->harm.unread = is;
}

static void what_asks_for_a_hand_and_from_where_on(void **state)
{
    static const struct {
        void (*set)(struct health *h, bool is);
        const char *what;
    } ASKED[] = {{lost, "not-writing"},
                 {unread, "not-readable"},
                 {damaged, "damaged"},
                 {harm_unowned, "harm-unowned"},
                 {harm_unread, "harm-unread"},
                 {disk, "disk-low"},
                 {disk_beside_a_server, "disk-low"},
                 {disk_unknown, "disk-low"},
                 {urgent, "urgent-mail"},
                 {urgent_tried, "urgent-mail"},
                 {parked, "mail-parked"},
                 {old_backup, "old-backup"},
                 {gone_backup, "no-backup"},
                 {failed_backup, "no-backup"},
                 {no_backup, "no-backup"},
                 {no_backup_of_complaints, "no-backup"},
                 {no_backup_so_soon, "no-backup"},
                 {failed_load, "load-failed"},
                 {inbox_fault, "inbox"},
                 {inbox_refused, "inbox-refused"},
                 {inbox_unset, "inbox-refused"},
                 {reload, "reload-refused"}};
    struct looked *l = *state;
    for (size_t i = 0; i < COUNT_OF(ASKED); i++)
        for (int is = 0; is <= 1; is++) {
            look(l);
            ASKED[i].set(&l->h, is);
            needs(&l->h, is ? ASKED[i].what : "");
            health_clear(&l->h);
        }
}

/* The most urgent first; nothing is asked of a backup of what cannot be read. */
static void what_is_most_urgent_comes_first(void **state)
{
    struct looked *l = *state;
    look(l);
    reload(&l->h, true);
    inbox_fault(&l->h, true);
    failed_load(&l->h, true);
    failed_backup(&l->h, true);
    old_backup(&l->h, true);
    parked(&l->h, true);
    urgent(&l->h, true);
    disk(&l->h, true);
    harm_unread(&l->h, true);
    harm_unowned(&l->h, true);
    needs(&l->h, "harm-unowned harm-unread disk-low urgent-mail mail-parked no-backup old-backup "
                 "load-failed inbox reload-refused");
    harm_unread(&l->h, false);
    harm_unowned(&l->h, false);
    unread(&l->h, true);
    needs(&l->h, "not-readable disk-low urgent-mail mail-parked load-failed inbox reload-refused");
    health_clear(&l->h);
}

/* ---- lines ---- */

static void record(struct health *h, const char *line, const char *kind, int64_t ago_ms)
{
    json_array_append_new(h->records,
                          json_pack("{s:s, s:s, s:o}", "line", line, "kind", kind, "last_at_ms",
                                    ago_ms < 0 ? json_null() : json_integer(h->now_ms - ago_ms)));
}

/* Of each line lots, then readings: hours ago, -1 never. */
static void lines_whose_readings_stay_away(void **state)
{
    static const struct {
        int lots_h, late_ms, readings_h;
        const char *want;
    } LINES[] = {
        {1, 0, 24, ""},  {1, 0, 25, "no-readings"}, {1, 0, -1, ""}, {47, 0, 71, "no-readings"},
        {48, 0, 96, ""}, {-1, 0, 96, ""},           {1, 1, 25, ""}};
    struct looked *l = *state;
    for (size_t i = 0; i < COUNT_OF(LINES); i++) {
        look(l);
        json_array_clear(l->h.records);
        record(&l->h, "1", "lots", HOUR_MS);
        record(&l->h, "1", "readings", HOUR_MS);
        record(&l->h, "2", "lots",
               LINES[i].lots_h < 0 ? -1 : LINES[i].lots_h * HOUR_MS + LINES[i].late_ms);
        if (LINES[i].readings_h >= 0)
            record(&l->h, "2", "readings", LINES[i].readings_h * HOUR_MS);
        record(&l->h, "2", "plantlog", 0);
        record(&l->h, "3", "lots", HOUR_MS);
        record(&l->h, "3", "readings", HOUR_MS);
        needs(&l->h, LINES[i].want);
        health_clear(&l->h);
    }
}

/* ---- told ---- */

static const char *const RECORDS[][2] = {
    {"POST records/products?source=p",
     "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat,pan-bread,10,680\n"},
    {"POST records/lots?source=l",
     "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\nL1 6327 A0400,W24,"
     "\"a "
     "\"\"1\"\"\",2026-11-23T00:00:00-05:00,2026-11-23T03:00:00-05:00,2026-11-23T04:00:00-05:00,"
     "2026-11-23T07:00:00-05:00,5000,2026-12-03\n"},
    {"POST records/readings?source=r",
     "lot,quantity,value,at\nL1 6327 A0400,core_at_pack_c,37,2026-11-23T04:10:00-05:00\n"},
    {"POST complaints", "{'id':'01990000-0000-7000-8000-000000000001','received_at':'2026-11-24T11:"
                        "00:00-05:00','channel':'phone','symptom':'mold','harm':['illness']}"}};

/* What another machine or minute tells otherwise. */
static void without_numbers(json_t *status)
{
    static const char *const LEFT_OUT[] = {"version", "uptime_s", "started_at"};
    static const char *const OF_STORE[] = {"db_bytes", "wal_bytes", "disk_free_bytes"};
    for (size_t i = 0; i < COUNT_OF(LEFT_OUT); i++)
        assert_int_equal(json_object_del(status, LEFT_OUT[i]), 0);
    for (size_t i = 0; i < COUNT_OF(OF_STORE); i++)
        assert_int_equal(json_object_del(json_object_get(status, "store"), OF_STORE[i]), 0);
    assert_int_equal(json_object_del(status, "writer"), 0);
}

static void status_tells_how_it_is(void **state)
{
    struct looked *l = *state;
    struct error err = {0};
    json_t *status = NULL;
    for (size_t i = 0; i < COUNT_OF(RECORDS); i++) {
        struct asked *a = fixture_ask(l->f, l->f->store, RECORDS[i][0], RECORDS[i][1]);
        assert_true(a->status == 200 || a->status == 201);
        fixture_asked_free(a);
    }
    assert_int_equal(
        backup_last_note(l->f->app.writer, "/no/such/folder/a.db", l->f->now_ms - HOUR_MS, &err),
        0);
    l->f->now_ms += 5 * MINUTE_MS;
    struct asked *a = fixture_ask(l->f, l->f->store, "GET status", NULL);
    assert_int_equal(a->status, 200);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &status, &err), 0);
    without_numbers(status);
    told_check("serve", "status", status);
    fixture_asked_free(a);
}

/* Own copies of shipped files: those that a release changed, and that do not say the same. */
static void status_counts_rules_that_are_left_behind(void **state)
{
    struct looked *l = *state;
    json_t *status = NULL, *was = l->f->app.setup->own_rules;
    l->f->app.setup->own_rules =
        json_pack("[{s:s, s:s}, {s:s, s:s}, {s:s, s:s}, {s:s, s:s}]", "release", "changed", "is",
                  "changed", "release", "changed", "is", "same", "release", "same", "is", "changed",
                  "release", "changed", "is", "new");
    struct asked *a = fixture_ask(l->f, l->f->store, "GET status", NULL);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &status, NULL), 0);
    const json_t *rules = json_object_get(status, "rules");
    assert_int_equal(json_integer_value(json_object_get(rules, "own_files")), 4);
    assert_int_equal(json_integer_value(json_object_get(rules, "release_changed")), 2);
    json_decref(status);
    fixture_asked_free(a);
    json_decref(l->f->app.setup->own_rules);
    l->f->app.setup->own_rules = was;
}

/* Whose people see one plant are told of the daemon what they need to read its answers. */
static void status_of_one_plant_is_short(void **state)
{
    struct looked *l = *state;
    struct error err = {0};
    json_t *status = NULL;
    struct request rq = {.app = &l->f->app, .reply = fixture_take_answer};
    struct asked a = {.rq = rq};
    a.rq.accept = (char *)"";
    a.rq.seen.count = 1;
    a.rq.seen.plant[0] = "Larkfen";
    pthread_mutex_init(&a.lock, NULL);
    pthread_cond_init(&a.come, NULL);
    route_find("GET", &(struct request){.path = (char *)"/v1/status"}, (char[64]){""}, 64)
        ->handler(&a.rq, l->f->store);
    fixture_wait(&a);
    assert_int_equal(jsonx_parse(a.body.data, a.body.length, &status, &err), 0);
    assert_int_equal(json_object_size(status), 9);
    assert_true(json_is_array(json_object_get(status, "needs")));
    assert_int_equal(json_array_size(json_object_get(status, "time_zones")), 0);
    assert_string_equal(json_string_value(json_array_get(json_object_get(status, "plants"), 0)),
                        "Larkfen");
    json_decref(status);
    text_buffer_free(&a.body);
}

/* The samples, but for those that another machine or minute has otherwise: they are there. */
static void metrics_tell_how_it_is(void **state)
{
    static const char *const OTHERWISE[] = {
        "oddloaf_write_jobs_total", "oddloaf_write_groups_total", "oddloaf_write_queue",
        "oddloaf_store_bytes",      "oddloaf_wal_bytes",          "oddloaf_disk_free_bytes"};
    struct looked *l = *state;
    struct asked *a = fixture_ask(l->f, l->f->store, "GET metrics", NULL);
    json_t *samples = json_object();
    bool ended = false;
    for (char *line = strtok(a->body.data, "\n"); line; line = strtok(NULL, "\n")) {
        char *value = strrchr(line, ' ');
        assert_false(ended);
        ended = strcmp(line, "# EOF") == 0;
        if (*line == '#')
            continue;
        *value = '\0';
        json_object_set_new(samples, line, json_real(strtod(value + 1, NULL)));
    }
    assert_true(ended);
    for (size_t i = 0; i < COUNT_OF(OTHERWISE); i++) {
        assert_true(json_real_value(json_object_get(samples, OTHERWISE[i])) >= 0);
        assert_int_equal(json_object_del(samples, OTHERWISE[i]), 0);
    }
    told_check("serve", "metrics", samples);
    fixture_asked_free(a);
}

static json_int_t days_behind(struct looked *l)
{
    json_t *status = NULL;
    struct asked *a = fixture_ask(l->f, l->f->store, "GET status", NULL);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &status, NULL), 0);
    json_int_t days = json_integer_value(json_object_get(status, "records_behind_days"));
    json_decref(status);
    fixture_asked_free(a);
    return days;
}

/* A weekend without a lot is none; a week is said. */
static void records_that_are_behind_are_told(void **state)
{
    struct looked *l = *state;
    int64_t now_ms = l->f->now_ms;
    assert_int_equal(days_behind(l), 0);
    l->f->now_ms += 7 * WHEN_DAY_MS;
    json_int_t week = days_behind(l);
    assert_true(week >= 7);
    l->f->now_ms += WHEN_DAY_MS;
    assert_int_equal(days_behind(l), week + 1);
    l->f->now_ms = now_ms;
}

/* Whichever statement fails, the answer says that the database cannot be read. */
static int put(void *arg, struct error *err)
{
    struct looked *l = arg;
    json_t *status = NULL;
    struct asked *a = fixture_ask(l->f, l->f->store, "GET status", NULL);
    assert_int_equal(a->status, 200);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &status, err), 0);
    const char *why =
        json_string_value(json_object_get(json_object_get(status, "store"), "unread"));
    const char *first = json_string_value(
        json_object_get(json_array_get(json_object_get(status, "needs"), 0), "what"));
    if (why) {
        assert_string_equal(first, "not-readable");
        error_set(err, ERROR_IO, "%s", why);
    }
    json_decref(status);
    fixture_asked_free(a);
    return why ? ERROR_IO : 0;
}

static void what_cannot_be_read_is_said(void **state)
{
    struct looked *l = *state;
    failing_check(l->f->store, put, l, "status", 0);
}

static void the_disk_has_room_or_nothing_is_attached(void **state)
{
    struct looked *l = *state;
    struct error err = {0};
    assert_int_equal(health_room(&l->f->app, l->f->app.setup, l->f->store, &err), 0);
    fixture_settings(l->f, FIXTURE_SETTINGS ",'disk_low_mb':1000000");
    if (app_reload(&l->f->app, &err))
        fail_msg("%s", err.text);
    assert_int_equal(health_room(&l->f->app, l->f->app.setup, l->f->store, &err), ERROR_NO_SPACE);
    error_clear(&err);
    fixture_settings(l->f, QUIET);
    assert_int_equal(app_reload(&l->f->app, &err), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_asks_for_a_hand_and_from_where_on),
        cmocka_unit_test(what_is_most_urgent_comes_first),
        cmocka_unit_test(lines_whose_readings_stay_away),
        cmocka_unit_test(status_tells_how_it_is),
        cmocka_unit_test(status_counts_rules_that_are_left_behind),
        cmocka_unit_test(status_of_one_plant_is_short),
        cmocka_unit_test(metrics_tell_how_it_is),
        cmocka_unit_test(records_that_are_behind_are_told),
        cmocka_unit_test(what_cannot_be_read_is_said),
        cmocka_unit_test(the_disk_has_room_or_nothing_is_attached),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
