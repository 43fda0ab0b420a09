/* A backup in the place of a state: what it lacks is counted, what became of the world since is
 * taken over, and what is no backup takes nobody's place. */
#include "base/when.h"
#include "check.h"
#include "store/backup.h"
#include "store/db.h"
#include "store/owner.h"
#include "store/restore.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define NOW_MS INT64_C(1795219200000) /* 2026-11-21T00:00:00Z */
#define SENT_BEFORE "sent before the state was restored"
#define STALE "written before the state was restored, and a day old by then"
#define NOT_KNOWN "written before the state was restored: whether it was sent is not known"

struct state {
    char dir[64], db[96], copy[96];
};

/* An empty state, made once: making one takes longer than what is asked of it. */
static char empty[64];

static int make_empty(void **state)
{
    struct store *store = NULL;
    (void)state;
    snprintf(empty, sizeof empty, "%s/oddloaf-empty-XXXXXX",
             access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
    if (!mkdtemp(empty) || store_open(empty, STORE_WRITE, &store, NULL))
        return -1;
    store_close(store);
    return 0;
}

static int remove_empty(void **state)
{
    char command[128];
    (void)state;
    snprintf(command, sizeof command, "rm -r %s", empty);
    return system(command);
}

static int setup(void **state)
{
    struct state *s = calloc(1, sizeof *s);
    char command[256];
    snprintf(s->dir, sizeof s->dir, "%.*s-restore-XXXXXX", (int)strlen(empty) - 7, empty);
    if (!mkdtemp(s->dir))
        return -1;
    snprintf(s->db, sizeof s->db, "%s/oddloaf.db", s->dir);
    snprintf(s->copy, sizeof s->copy, "%s-copy.db", s->dir);
    snprintf(command, sizeof command, "cp %s/oddloaf.db %s", empty, s->dir);
    *state = s;
    return system(command);
}

static int teardown(void **state)
{
    struct state *s = *state;
    char command[256];
    snprintf(command, sizeof command, "rm -rf %s %s", s->dir, s->copy);
    int rc = system(command);
    free(s);
    return rc;
}

static struct store *opened(const struct state *s)
{
    struct store *store = NULL;
    struct error err = {0};
    if (store_open(s->dir, STORE_WRITE, &store, &err))
        fail_msg("%s", err.text);
    return store;
}

static void run(const struct state *s, const char *sql)
{
    struct error err = {0};
    struct store *store = opened(s);
    if (db_exec(store, sql, &err))
        fail_msg("%s", err.text);
    store_close(store);
}

static void back_up(const struct state *s)
{
    struct store *store = opened(s);
    assert_int_equal(backup_make(store, s->copy, NULL), 0);
    store_close(store);
}

static struct restored restored(const struct state *s)
{
    struct restored r;
    struct error err = {0};
    if (restore_make(s->dir, s->copy, NOW_MS, &r, &err))
        fail_msg("%s", err.text);
    assert_true(r.ready && r.at_ms == NOW_MS);
    assert_string_equal(r.file, s->copy);
    return r;
}

/* The first column of all rows, with commas between. */
static void expect(const struct state *s, const char *sql, const char *want)
{
    struct error err = {0};
    char got[1024] = "";
    struct store *store = NULL;
    assert_int_equal(store_open(s->dir, STORE_READ, &store, NULL), 0);
    struct db_query q = db_query(store, sql, NULL, &err);
    while (db_next(&q)) {
        size_t length = strlen(got);
        snprintf(got + length, sizeof got - length, "%s%s", length ? "," : "", db_text(&q, 0));
    }
    assert_int_equal(db_end(&q, 0), 0);
    store_close(store);
    if (strcmp(got, want) != 0)
        fail_msg("%s: '%s', not '%s'", sql, got, want);
}

/* ---- what the backup lacks ---- */

#define CASE(id)                                                                                   \
    "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs) VALUES(" id   \
    ", 'mold', 1, 1, 1, 1);"
#define COMPLAINT(id, logged, harm)                                                                \
    "INSERT INTO complaint(id, uuid, received_ms, logged_ms, channel, symptom, case_id, harm,"     \
    " body) VALUES(" id ", 'u' || " id ", 1, " logged ", 'phone', 'mold', 1, " harm ", '{}');"
#define JOINED(id)                                                                                 \
    "INSERT INTO joined(id, uuid, complaint_id, received_ms, logged_ms, joined_ms, body)"          \
    " VALUES(" id ", 'j' || " id ", 1, 1, 1, 1, '{}');"
#define CHANGE(id, at, field)                                                                      \
    "INSERT INTO complaint_change(id, complaint, at_ms, by_name, reason, field, was, now)"         \
    " VALUES(" id ", 'u1', " at ", 'ivo', 'r', '" field "', '', '');"
#define HOLD(id)                                                                                   \
    "INSERT INTO hold(id, code, fold, reason, by_name, at_ms) VALUES(" id ", 'L', 'L', 'r', 'i', " \
    "1);"
#define VERDICT(id)                                                                                \
    "INSERT INTO verdict(id, case_id, cause, confirmed_by, by_name, at_ms, revision) VALUES(" id   \
    ", " id ", 'c', 'assay', 'i', 1, 1);"
#define FOLLOW(id, user)                                                                           \
    "INSERT INTO follow_entry(id, case_id, at_ms, what, report, was, now, text, by_name, by_user)" \
    " VALUES(" id ", 1, 1, 'noted', '', '', '', 't', 'i', '" user "');"
#define ACTION(id)                                                                                 \
    "INSERT INTO corrective_action(id, at_ms, note, by_name, logged_ms) VALUES(" id ", 1, 'n', "   \
    "'i', 1);"
#define LOADED(id, state)                                                                          \
    "INSERT INTO load_file(id, kind, source, path, state, accepted_ms) VALUES('" id                \
    "', 'lots', 's', 'loads/" id ".rows', '" state "', 1);"

static void check_missing(const struct restored *r)
{
    static const struct {
        const char *what;
        int count;
    } WANT[RESTORE_KINDS] = {{"complaints", 4},        {"complaints_of_harm", 3},
                             {"joined_reports", 2},    {"corrections", 2},
                             {"withdrawals", 1},       {"holds", 2},
                             {"ended_holds", 3},       {"verdicts", 1},
                             {"reopened_verdicts", 2}, {"follow_notes", 1},
                             {"actions", 3},           {"loaded_files", 1}};
    for (size_t i = 0; i < RESTORE_KINDS; i++) {
        assert_string_equal(r->missing[i].what, WANT[i].what);
        if (r->missing[i].count != WANT[i].count)
            fail_msg("%s: %d, not %d", WANT[i].what, (int)r->missing[i].count, WANT[i].count);
    }
}

static void what_it_lacks_is_counted(void **state)
{
    const struct state *s = *state;
    run(s, CASE("1") COMPLAINT("1", "100", "0") COMPLAINT("2", "200", "0") JOINED("1")
               CHANGE("1", "5", "store") HOLD("1") HOLD("2") CASE("2") VERDICT("1") FOLLOW("1", "u")
                   ACTION("1") LOADED("a", "done"));
    back_up(s);
    run(s, /* one of harm since, one withdrawn, two that it has not at all */
        "UPDATE complaint SET harm = 1 WHERE id = 1;" COMPLAINT("3", "900", "1")
            COMPLAINT("4", "800", "1") COMPLAINT("5", "950", "0") COMPLAINT(
                "6", "990", "1") "UPDATE complaint SET withdrawn_ms = 7 WHERE id = 6;" JOINED("2")
                JOINED("3")
        /* of one correction each member is a row */
        CHANGE("2", "6", "store") CHANGE("3", "6", "lot_text") CHANGE("4", "7", "store")
            CHANGE("5", "8", "withdrawn") HOLD("3") HOLD(
                "4") "UPDATE hold SET disposition = 'release', ended_ms = 9 WHERE id IN (1, 2, "
                     "3);" VERDICT("2") "UPDATE verdict SET reopened_ms = 9;" FOLLOW("2", "u")
                         FOLLOW("3", "") ACTION("2") ACTION("3") ACTION("4") LOADED("b", "done"));
    struct restore_foreseen foreseen;
    assert_int_equal(restore_foresee(s->dir, s->copy, &foreseen, NULL), 0);
    check_missing(&foreseen.of);
    assert_int_equal(foreseen.since_ms, 800);
    assert_int_equal(foreseen.until_ms, 200);
    struct restored r = restored(s);
    assert_true(r.past_read);
    check_missing(&r);
    assert_string_equal(r.past_fault, "");
    expect(s, "SELECT uuid FROM complaint ORDER BY id", "u1,u2");
    /* and there is nothing that it lacks of itself */
    assert_int_equal(restore_foresee(s->dir, s->copy, &foreseen, NULL), 0);
    for (size_t i = 0; i < RESTORE_KINDS; i++)
        assert_int_equal(foreseen.of.missing[i].count, 0);
    assert_int_equal(foreseen.since_ms, WHEN_UNKNOWN_MS);
    /* what was there is kept */
    struct stat st;
    char kept[PATH_MAX + 16];
    snprintf(kept, sizeof kept, "%s/oddloaf.db", r.kept);
    assert_int_equal(stat(kept, &st), 0);
    /* the mark of the clock is later than the last complaint */
    run(s, "INSERT INTO setting(key, value) VALUES('clock/seen_ms', '1000')"
           " ON CONFLICT DO UPDATE SET value = '1000';");
    assert_int_equal(remove(s->copy), 0);
    back_up(s);
    assert_int_equal(restore_foresee(s->dir, s->copy, &foreseen, NULL), 0);
    assert_int_equal(foreseen.until_ms, 1000);
}

/* ---- mails ---- */

#define MAIL(id, event, state, created)                                                            \
    "INSERT INTO outbox(id, event, message_id, state, created_ms) VALUES(" id ", '" event          \
    "', 'm' || " id ", '" state "', " created ");"
#define DELIVERY(mail, to, state)                                                                  \
    "INSERT INTO outbox_delivery(mail_id, recipient, urgent, state, since_ms, due_ms) "            \
    "VALUES(" mail ", '" to "', 0, '" state "', 1, 1);"
#define DAY_AGO "1795132800000" /* to the millisecond */
#define LONGER_AGO "1795132799999"

static const char MAILS[] = MAIL("1", "report", "new", DAY_AGO) MAIL("2", "report", "open", DAY_AGO)
    DELIVERY("2", "a", "waiting") DELIVERY("2", "b", "waiting") MAIL("3", "report", "new", DAY_AGO)
        MAIL("4", "report", "new", LONGER_AGO) MAIL("5", "report", "new", DAY_AGO)
            MAIL("6", "urgent", "new", LONGER_AGO) MAIL("7", "report", "sent", LONGER_AGO);

static void no_mail_leaves_twice(void **state)
{
    const struct state *s = *state;
    run(s, MAILS);
    back_up(s);
    run(s, "UPDATE outbox SET state = 'sent', sent_ms = 9 WHERE id = 1;"
           "UPDATE outbox_delivery SET state = 'sent', sent_ms = 9 WHERE recipient = 'a';"
           "UPDATE outbox SET state = 'open' WHERE id = 3;" DELIVERY("3", "c", "sent")
               DELIVERY("3", "d", "parked"));
    struct restored r = restored(s);
    assert_int_equal(r.held_mails, 2);
    expect(s, "SELECT id || ' ' || state FROM outbox ORDER BY id",
           "1 new,2 open,3 open,4 new,5 new,6 new,7 sent");
    expect(s, "SELECT coalesce(held, '-') FROM outbox ORDER BY id",
           SENT_BEFORE ",-,-," STALE ",-,-,-");
    expect(s, "SELECT mail_id || recipient || state FROM outbox_delivery ORDER BY 1",
           "2asent,2bwaiting,3csent");
}

/* Of a state that cannot be read nobody knows what was sent: only what is urgent leaves. */
static void mails_of_a_state_that_cannot_be_read(void **state)
{
    const struct state *s = *state;
    run(s, MAILS);
    back_up(s);
    FILE *file = fopen(s->db, "w");
    assert_non_null(file);
    for (int i = 0; i < 4096; i++)
        fputs("noise", file);
    fclose(file);
    struct restored r = restored(s);
    assert_false(r.past_read);
    assert_true(*r.past_fault);
    assert_int_equal(r.held_mails, 5);
    expect(s, "SELECT coalesce(held, '-') FROM outbox ORDER BY id",
           NOT_KNOWN "," NOT_KNOWN "," NOT_KNOWN "," NOT_KNOWN "," NOT_KNOWN ",-,-");
}

static void a_state_that_was_not_there(void **state)
{
    const struct state *s = *state;
    struct restore_note note;
    run(s, MAILS);
    back_up(s);
    char command[200];
    snprintf(command, sizeof command, "rm -r %s; mkdir %s", s->dir, s->dir);
    assert_int_equal(system(command), 0);
    struct restored r = restored(s);
    assert_string_equal(r.kept, "");
    assert_string_equal(r.past_fault, "there was no database");
    struct store *store = opened(s);
    assert_int_equal(restore_last(store, &note, NULL), 0);
    assert_int_equal(note.at_ms, NOW_MS);
    assert_non_null(strstr(note.told, "\"past_fault\":\"there was no database\""));
    assert_non_null(strstr(note.told, "\"missing\":{}"));
    free(note.told);
    store_close(store);
}

/* ---- numbers, settings, files under way ---- */

static void what_the_world_knows_of(void **state)
{
    const struct state *s = *state;
    struct restore_note note;
    char path[128];
    struct store *store = opened(s);
    assert_int_equal(restore_last(store, &note, NULL), 0);
    assert_true(note.at_ms == WHEN_UNKNOWN_MS && !note.told);
    store_close(store);
#define SET(key, value)                                                                            \
    "INSERT INTO setting(key, value) VALUES('" key "', '" value                                    \
    "') ON CONFLICT DO UPDATE SET value = excluded.value;"
    run(s,
        CASE("1") HOLD("1") ACTION("1") MAIL("1", "report", "sent", "1") LOADED("a", "waiting")
            LOADED("b", "waiting") LOADED("c", "done") SET("digest/last", "2026-W45")
                SET("due/last", "2026-11-20") SET("digest/last/Tarn", "2026-W45")
                    SET("due/last/Pell", "2026-11-20") SET("case/last", "3") SET("hold/last", "9")
                        SET("backup/at_ms", "100") SET("backup/path", "old"));
    back_up(s);
    run(s, CASE("7") HOLD("8") ACTION("5") MAIL("6", "report", "sent", "1")
               SET("digest/last", "2026-W46") SET("due/last", "2026-11-19") SET("case/last", "2")
                   SET("digest/last/Tarn", "2026-W46") SET("digest/last/Pell", "2026-W46")
                       SET("due/last/Pell", "2026-11-19") SET("due/last/Tarn", "2026-11-22")
                           SET("backup/at_ms", "200") SET("backup/path", "new") SET("other", "x"));
    snprintf(path, sizeof path, "%s/loads", s->dir);
    assert_true(mkdir(path, 0700) == 0 || access(path, F_OK) == 0);
    snprintf(path, sizeof path, "%s/loads/b.rows", s->dir);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fclose(file);
    restored(s);
    expect(s,
           "SELECT key || '=' || value FROM setting WHERE key LIKE 'digest/last%' OR key LIKE"
           " 'due/last%' OR key IN ('case/last', 'hold/last', 'action/last', 'mail/last', "
           "'backup/at_ms', 'backup/path',"
           " 'other') ORDER BY key",
           "action/last=5,backup/at_ms=200,backup/path=new,case/last=7,digest/last=2026-W46,"
           "digest/last/Pell=2026-W46,digest/last/Tarn=2026-W46,due/last=2026-11-20,"
           "due/last/Pell=2026-11-20,due/last/Tarn=2026-11-22,hold/last=9,mail/last=6");
    expect(s, "SELECT id || ' ' || state FROM load_file ORDER BY id", "a failed,b waiting,c done");
    /* older backups than the one that is restored are not the newest */
    run(s, SET("backup/at_ms", "099") SET("backup/path", "older"));
    restored(s);
    expect(s, "SELECT value FROM setting WHERE key = 'backup/path'", "old");
    store = opened(s);
    assert_int_equal(restore_last(store, &note, NULL), 0);
    assert_int_equal(note.at_ms, NOW_MS);
    assert_non_null(strstr(note.told, "\"past_read\":true"));
    free(note.told);
    store_close(store);
}

/* ---- what is none ---- */

static void write_file(const char *path, const char *text)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void what_is_no_backup(void **state)
{
    const struct state *s = *state;
    char path[96], command[300];
    struct restored r;
    struct error err = {0};
    run(s, CASE("1"));
    snprintf(path, sizeof path, "%s/other.db", s->dir);
    assert_int_equal(restore_look(path, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "No such file"));
    assert_string_equal(err.field, "file");
    static const struct {
        const char *text, *sql, *why;
    } CASES[] = {{"", NULL, "it is empty"},
                 {"no database, but as long as the first bytes of one need be to be looked at, and "
                  "some more behind them",
                  NULL, "is not restored: "},
                 {NULL, "CREATE TABLE a(b)", "is not an oddloaf database"}};
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        err = (struct error){0};
        unlink(path);
        if (CASES[i].text)
            write_file(path, CASES[i].text);
        else {
            snprintf(command, sizeof command, "sqlite3 %s '%s'", path, CASES[i].sql);
            assert_int_equal(system(command), 0);
        }
        assert_int_equal(restore_make(s->dir, path, NOW_MS, &r, &err), ERROR_INVALID);
        if (!strstr(err.text, CASES[i].why))
            fail_msg("%s, not %s", err.text, CASES[i].why);
        assert_false(r.ready);
    }
    expect(s, "SELECT CAST(id AS TEXT) FROM complaint_case", "1");
}

/* Marks that a database's address would take for its own; and not while somebody has the state. */
static void names_and_owners(void **state)
{
    const struct state *s = *state;
    char path[128];
    struct restored r;
    struct error err = {0};
    struct owner *owner = NULL;
    run(s, CASE("1"));
    back_up(s);
    snprintf(path, sizeof path, "%s/a %%41 #1?.db", s->dir);
    assert_int_equal(rename(s->copy, path), 0);
    assert_int_equal(restore_look(path, &err), 0);
    assert_int_equal(owner_take(s->dir, &owner, NULL), 0);
    assert_int_equal(restore_make(s->dir, path, NOW_MS, &r, &err), ERROR_CONFLICT);
    owner_free(owner);
    assert_int_equal(rename(path, s->copy), 0);
    restored(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_it_lacks_is_counted, setup, teardown),
        cmocka_unit_test_setup_teardown(no_mail_leaves_twice, setup, teardown),
        cmocka_unit_test_setup_teardown(mails_of_a_state_that_cannot_be_read, setup, teardown),
        cmocka_unit_test_setup_teardown(a_state_that_was_not_there, setup, teardown),
        cmocka_unit_test_setup_teardown(what_the_world_knows_of, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_no_backup, setup, teardown),
        cmocka_unit_test_setup_teardown(names_and_owners, setup, teardown),
    };
    return cmocka_run_group_tests(tests, make_empty, remove_empty);
}
