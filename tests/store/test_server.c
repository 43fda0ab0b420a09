/* A state on a PostgreSQL server that goes away, is shared or comes from an earlier version. */
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/store_inside.h"
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>
#include <unistd.h>

#ifdef ODDLOAF_POSTGRES

#include "base/text.h"
#include "base/when.h"
#include "store/claim.h"
#include "store/erasures.h"
#include "store/load_part.h"
#include "store/place.h"
#include "store/schema.h"
#include "store/server_schema.h"

struct fixture {
    char dir[64];
    struct store *store;
};

static int setup(void **state)
{
    static struct fixture f;
    struct error err = {0};
    strcpy(f.dir, "/tmp/oddloaf-server-XXXXXX");
    if (!state_folder(f.dir))
        return -1;
    if (store_open(f.dir, STORE_WRITE, &f.store, &err))
        fail_msg("%s", err.text);
    *state = &f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    store_close(f->store);
    snprintf(command, sizeof command, "rm -rf %s", f->dir);
    return system(command);
}

static const char SQL_ADD[] = "INSERT INTO quantity(name) VALUES(?1)";
static const char SQL_COUNT[] = "SELECT count(*) FROM quantity";

static int64_t quantities(struct store *store)
{
    int64_t count = -1;
    struct error err = {0};
    if (db_number(store, SQL_COUNT, NULL, &count, &err))
        fail_msg("%s", err.text);
    return count;
}

/* As when the server is stopped and started again. */
static void cut_off(const struct fixture *f)
{
    struct store *other;
    static const char SQL[] = "SELECT count(pg_terminate_backend(pid, 5000)) FROM pg_stat_activity"
                              " WHERE datname = current_database() AND pid <> pg_backend_pid()";
    int64_t count = 0;
    assert_int_equal(store_open(f->dir, STORE_READ, &other, NULL), 0);
    assert_int_equal(db_number(other, SQL, NULL, &count, NULL), 0);
    assert_true(count > 0);
    store_close(other);
}

static void numbers_go_on_from_the_highest(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    assert_int_equal(db_last_id(f->store), 1);
    assert_int_equal(db_exec(f->store, "INSERT INTO quantity(id, name) VALUES(7, 'b')", NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("c")), NULL), 0);
    assert_int_equal(db_last_id(f->store), 8);
    store_rollback(f->store);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("d")), NULL), 0);
    assert_int_equal(db_last_id(f->store), 1); /* none is left out */
    assert_int_equal(store_commit(f->store, NULL), 0);
}

static void what_comes_after_a_loss_is_written(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    cut_off(f);
    if (store_begin(f->store, &err))
        fail_msg("%s", err.text);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    cut_off(f);
    assert_int_equal(quantities(f->store), 1);
}

static void a_transaction_that_lost_its_server_is_not_kept(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    cut_off(f);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("b")), &err), ERROR_BUSY);
    assert_true(store_writing(f->store)); /* until its owner ends it */
    assert_int_equal(store_commit(f->store, &err), ERROR_BUSY);
    assert_false(store_writing(f->store));
    assert_int_equal(quantities(f->store), 0);
    assert_int_equal(store_begin(f->store, NULL), 0);
    cut_off(f);
    error_clear(&err);
    assert_int_equal(store_commit(f->store, &err), ERROR_BUSY); /* nobody knows: it is not said */
    assert_non_null(strstr(err.hint, "waits with its sender"));
}

/* PostgreSQL answers the end of a transaction that failed as if all were well. */
static void a_transaction_that_failed_does_not_end_well(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), ERROR_CONFLICT);
    assert_int_equal(store_commit(f->store, NULL), ERROR_CONFLICT);
    assert_int_equal(quantities(f->store), 0);
}

static void one_job_refused_does_not_undo_its_neighbours(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(store_nest(f->store, NULL), 0);
        int rc = db_run(f->store, SQL_ADD, DB(DB_TEXT(i < 2 ? "a" : "b")), NULL);
        assert_int_equal(rc, i == 1 ? ERROR_CONFLICT : 0);
        assert_int_equal(store_unnest(f->store, rc == 0, NULL), 0);
    }
    assert_int_equal(store_commit(f->store, NULL), 0);
    assert_int_equal(quantities(f->store), 2);
}

/* ---- several daemons ---- */

static int64_t now_ms(void)
{
    return clock_monotonic_ms();
}

struct second {
    char dir[64];
    struct store *store;
    atomic_bool begun;
    int rc;
};

/* Another daemon's: a folder of its own, the same database. */
static void open_second(const struct fixture *f, struct second *s)
{
    char command[256];
    struct error err = {0};
    *s = (struct second){.dir = "/tmp/oddloaf-second-XXXXXX"};
    assert_non_null(mkdtemp(s->dir));
    snprintf(command, sizeof command, "cp %s/server %s/", f->dir, s->dir);
    assert_int_equal(system(command), 0);
    if (store_open(s->dir, STORE_WRITE, &s->store, &err))
        fail_msg("%s", err.text);
}

static void close_second(struct second *s)
{
    char command[256];
    store_close(s->store);
    snprintf(command, sizeof command, "rm -rf %s", s->dir);
    assert_int_equal(system(command), 0);
}

static void *begin_second(void *arg)
{
    struct second *s = arg;
    s->rc = store_begin(s->store, NULL);
    atomic_store(&s->begun, true);
    return NULL;
}

static void daemons_write_in_turn(void **state)
{
    struct fixture *f = *state;
    struct second s;
    pthread_t thread;
    open_second(f, &s);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    assert_int_equal(pthread_create(&thread, NULL, begin_second, &s), 0);
    usleep(200000);
    assert_false(atomic_load(&s.begun));
    assert_int_equal(store_commit(f->store, NULL), 0);
    pthread_join(thread, NULL);
    assert_int_equal(s.rc, 0);
    assert_int_equal(quantities(s.store), 1); /* all that was committed before */
    assert_int_equal(db_run(s.store, SQL_ADD, DB(DB_TEXT("b")), NULL), 0);
    assert_int_equal(db_last_id(s.store), 2);
    assert_int_equal(store_commit(s.store, NULL), 0);
    close_second(&s);
}

static void a_mark_tells_what_another_wrote(void **state)
{
    struct fixture *f = *state;
    struct second s;
    char was[STORE_MARK], now[STORE_MARK];
    open_second(f, &s);
    store_mark(f->store, was);
    store_mark(f->store, now);
    assert_string_not_equal(was, "");
    assert_int_equal(store_begin(s.store, NULL), 0);
    assert_int_equal(db_run(s.store, SQL_ADD, DB(DB_TEXT("a")), NULL), 0);
    assert_int_equal(store_commit(s.store, NULL), 0);
    store_mark(f->store, now);
    assert_string_not_equal(now, was);
    close_second(&s);
}

static void what_one_claims_no_other_does(void **state)
{
    struct fixture *f = *state;
    struct second s;
    open_second(f, &s);
    unsigned first = claim_connection(f->store);
    assert_true(claim_take(f->store, CLAIM_CASE, 7));
    assert_false(claim_take(s.store, CLAIM_CASE, 7));
    assert_true(claim_take(s.store, CLAIM_CASE, 8));
    assert_true(claim_take(s.store, CLAIM_DELIVERY, 7));
    claim_drop(f->store, CLAIM_CASE, 7);
    assert_true(claim_take(s.store, CLAIM_CASE, 7));
    cut_off(f);
    if (!claim_take(f->store, CLAIM_CASE, 7)) /* that finds its connection lost */
        assert_true(claim_take(f->store, CLAIM_CASE, 7));
    assert_int_not_equal(claim_connection(f->store), first);
    assert_false(claim_take(s.store, CLAIM_CASE, 7));
    close_second(&s);
}

static void what_one_accepted_another_has(void **state)
{
    struct fixture *f = *state;
    struct second s;
    static unsigned char bytes[LOAD_PART_BYTES], back[LOAD_PART_BYTES];
    size_t length = 0;
    open_second(f, &s);
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)(i * 7 + i / 256);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(load_part_put(f->store, "0a", 0, bytes, sizeof bytes, NULL), 0);
    assert_int_equal(load_part_put(f->store, "0a", 1, "rest", 4, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    assert_int_equal(load_part_get(s.store, "0a", 0, back, &length, NULL), 0);
    assert_int_equal(length, sizeof bytes);
    assert_memory_equal(back, bytes, sizeof bytes);
    assert_int_equal(load_part_get(s.store, "0a", 1, back, &length, NULL), 0);
    assert_int_equal(length, 4);
    assert_int_equal(load_part_get(s.store, "0a", 2, back, &length, NULL), 0);
    assert_int_equal(length, 0);
    assert_int_equal(store_begin(s.store, NULL), 0);
    assert_int_equal(load_part_drop_strays(s.store, "09", NULL), 0);
    assert_int_equal(load_part_get(s.store, "0a", 1, back, &length, NULL), 0);
    assert_int_equal(length, 4);
    assert_int_equal(load_part_drop_strays(s.store, "0b", NULL), 0);
    assert_int_equal(load_part_get(s.store, "0a", 1, back, &length, NULL), 0);
    assert_int_equal(length, 0);
    assert_int_equal(store_commit(s.store, NULL), 0);
    close_second(&s);
}

static bool file_has(const char *dir, const char *text)
{
    char path[128], line[256];
    bool found = false;
    snprintf(path, sizeof path, "%s/" ERASURES_FILE, dir);
    FILE *file = fopen(path, "r");
    while (file && !found && fgets(line, sizeof line, file))
        found = strstr(line, text) != NULL;
    if (file)
        fclose(file);
    return found;
}

/* A dump that is put back is met by whichever daemon starts first. */
static void what_was_erased_is_in_the_file_of_each(void **state)
{
    static const char ONE[] = "019a0000-0000-7000-8000-000000000001",
                      SQL[] = "INSERT INTO erased(report, at_ms, basis) VALUES(?1, 7, 'request')",
                      GONE[] = "DELETE FROM erased", THERE[] = "SELECT count(*) FROM erased";
    struct fixture *f = *state;
    struct second s;
    int64_t marks = 0;
    int erased = 0;
    open_second(f, &s);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(db_run(f->store, SQL, DB(DB_TEXT(ONE)), NULL), 0);
    assert_int_equal(erasures_write(f->store, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    assert_true(file_has(f->dir, ONE));
    assert_int_equal(store_begin(s.store, NULL), 0);
    assert_int_equal(erasures_write(s.store, NULL), 0);
    assert_true(file_has(s.dir, ONE));
    /* as after a dump of before: the marks and what was noted of either file are gone */
    assert_int_equal(db_run(s.store, GONE, NULL, NULL), 0);
    assert_int_equal(db_exec(s.store, "DELETE FROM setting WHERE key LIKE 'erasures/%'", NULL), 0);
    assert_int_equal(store_commit(s.store, NULL), 0);
    assert_int_equal(store_begin(s.store, NULL), 0);
    assert_int_equal(erasures_apply(s.store, &erased, NULL), 0);
    assert_int_equal(db_number(s.store, THERE, NULL, &marks, NULL), 0);
    assert_int_equal(marks, 1);
    assert_int_equal(store_commit(s.store, NULL), 0);
    close_second(&s);
}

/* Whoever stands still in the middle of writing keeps no other from it for ever. */
static void who_stands_still_is_not_waited_for(void **state)
{
    struct fixture *f = *state;
    struct second s;
    struct error err = {0};
    open_second(f, &s);
    assert_int_equal(db_exec(s.store, "SET lock_timeout = '300ms'", NULL), 0);
    assert_int_equal(db_exec(f->store, "SET idle_in_transaction_session_timeout = '1s'", NULL), 0);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(store_begin(s.store, &err), ERROR_BUSY);
    assert_non_null(strstr(err.text, "another daemon writes and does not come to an end"));
    int64_t until_ms = now_ms() + 60000;
    while (store_begin(s.store, NULL) != 0)
        assert_true(now_ms() < until_ms);
    store_rollback(s.store);
    assert_int_equal(store_commit(f->store, NULL), ERROR_BUSY);
    close_second(&s);
}

static void a_reader_writes_nothing(void **state)
{
    struct fixture *f = *state;
    struct store *reader = NULL;
    struct error err = {0};
    assert_int_equal(store_open(f->dir, STORE_READ, &reader, NULL), 0);
    assert_int_equal(db_exec(reader, "DELETE FROM setting", &err), ERROR_BUSY);
    assert_non_null(strstr(err.text, "read-only"));
    store_close(reader);
}

/* A column a row: what an older schema became is what a new one is. */
static char *columns_of(struct store *store)
{
    static const char SQL[] =
        "SELECT table_name || '.' || column_name || ' ' || data_type || ' ' || is_nullable || ' ' "
        "||"
        " coalesce(column_default, '') FROM information_schema.columns WHERE table_schema ="
        " 'oddloaf' ORDER BY 1";
    struct text_buffer all = {0};
    struct error err = {0};
    struct db_query q = db_query(store, SQL, NULL, &err);
    text_append(&all, "");
    while (db_next(&q))
        text_appendf(&all, "%s\n", db_text(&q, 0));
    if (db_end(&q, 0))
        fail_msg("%s", err.text);
    return text_take(&all);
}

/* Indexes, keys and conditions, views: in words, without the numbers in made-up names. */
static char *rest_of(struct store *store)
{
    static const char SQL[] =
        "SELECT indexdef FROM pg_indexes WHERE schemaname = 'oddloaf' UNION ALL SELECT"
        " conrelid::regclass || ' ' || pg_get_constraintdef(oid) FROM pg_constraint WHERE"
        " connamespace = to_regnamespace('oddloaf') UNION ALL SELECT viewname || ' ' || definition"
        " FROM pg_views WHERE schemaname = 'oddloaf' ORDER BY 1";
    struct text_buffer all = {0};
    struct error err = {0};
    struct db_query q = db_query(store, SQL, NULL, &err);
    text_append(&all, "");
    while (db_next(&q))
        text_appendf(&all, "%s\n",
                     strstr(db_text(&q, 0), " ON ") && strncmp(db_text(&q, 0), "CREATE", 6) == 0
                         ? strstr(db_text(&q, 0), " ON ")
                         : db_text(&q, 0));
    if (db_end(&q, 0))
        fail_msg("%s", err.text);
    return text_take(&all);
}

/* What names what, and whether it goes with it, a line each. */
static char *references_of(struct store *store, const char *sql)
{
    struct text_buffer all = {0};
    struct error err = {0};
    struct db_query q = db_query(store, sql, NULL, &err);
    while (db_next(&q))
        text_appendf(&all, "%s\n", db_text(&q, 0));
    if (db_end(&q, 0))
        fail_msg("%s", err.text);
    assert_true(all.length > 0);
    return text_take(&all);
}

static void what_goes_with_what_is_as_in_a_file(void **state)
{
    static const char FILE_SQL[] =
        "SELECT m.name || ' ' || f.\"from\" || ' ' || f.\"table\" || ' ' || (f.on_delete ="
        " 'CASCADE') FROM sqlite_schema m, pragma_foreign_key_list(m.name) f WHERE m.type = 'table'"
        " ORDER BY 1";
    static const char SERVER_SQL[] =
        "SELECT c.relname || ' ' || a.attname || ' ' || t.relname || ' ' || (k.confdeltype ="
        " 'c')::int AS one FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid JOIN pg_class"
        " t ON t.oid = k.confrelid JOIN pg_attribute a ON a.attrelid = k.conrelid AND a.attnum ="
        " k.conkey[1] WHERE k.contype = 'f' AND k.connamespace = to_regnamespace('oddloaf') ORDER"
        " BY 1";
    struct fixture *f = *state;
    char dir[] = "/tmp/oddloaf-server-file-XXXXXX", command[128];
    struct store *file;
    struct error err = {0};
    assert_non_null(mkdtemp(dir));
    if (store_open(dir, STORE_WRITE, &file, &err))
        fail_msg("%s", err.text);
    char *wanted = references_of(file, FILE_SQL), *is = references_of(f->store, SERVER_SQL);
    assert_string_equal(is, wanted);
    free(wanted);
    free(is);
    store_close(file);
    snprintf(command, sizeof command, "rm -rf %s", dir);
    assert_int_equal(system(command), 0);
}

/* The database begins anew, with an earlier schema and nothing of its own beside it. */
static void begin_with(struct fixture *f, int version)
{
    struct error err = {0};
    char *address = NULL;
    int64_t rows;
    assert_int_equal(db_exec(f->store, "DROP SCHEMA oddloaf CASCADE", NULL), 0);
    store_close(f->store);
    f->store = NULL;
    assert_int_equal(place_get(f->dir, &address, NULL), 0);
    struct server *server = server_new(address, SERVER_WRITES);
    assert_true(server_there(server));
    if (server_schema_make(server, version, NULL, &rows, &err))
        fail_msg("%s", err.text);
    server_free(server);
    free(address);
}

static struct server *beside(const struct fixture *f)
{
    char *address = NULL;
    assert_int_equal(place_get(f->dir, &address, NULL), 0);
    struct server *server = server_new(address, SERVER_WRITES);
    assert_true(server_there(server));
    free(address);
    return server;
}

static void run_beside(const struct fixture *f, const char *sql)
{
    struct server *server = beside(f);
    PGresult *result = server_run(server, sql);
    if (!result)
        fail_msg("%s", server->says);
    server_clear(server, result);
    server_free(server);
}

static void convert_from(struct fixture *f, int version)
{
    struct error err = {0};
    char *fresh = columns_of(f->store), *rest = rest_of(f->store);
    begin_with(f, version);
    /* what step 16 makes anew, with rows in it */
    run_beside(
        f, "SET search_path = oddloaf; INSERT INTO work(kind, subject_id, due_ms, attempts, seq)"
           " VALUES('rank', 3, 5, 1, 4); INSERT INTO complaint_case(id, symptom, opened_ms,"
           " as_of_ms, complaints, packs) VALUES(3, 'mold', 1, 2, 0, 0);"
           "INSERT INTO outbox(id, event, case_id, revision, message_id, created_ms)"
           " VALUES(9, 'case', 3, 1, '<a@b>', 7), (12, 'digest', NULL, 0, '<digest@b>', 8);"
           /* what step 18 takes into their rows; the third is the company's */
           "INSERT INTO hold(id, code, fold, reason, by_name, at_ms) VALUES(4, 'Z 1', 'Z1', 'wet',"
           " 'jo', 5), (5, 'Z 1', 'Z1', 'wet', 'jo', 6), (6, 'Z 1', 'Z1', 'wet', 'jo', 7);"
           "INSERT INTO setting(key, value) VALUES('hold/plant/4', 'north'),"
           " ('hold/plant/5', 'south')");
    if (store_open(f->dir, STORE_WRITE, &f->store, &err))
        fail_msg("%s", err.text);
    const struct store_migration *done = store_migration(f->store);
    assert_non_null(done);
    assert_int_equal(done->from, version);
    assert_int_equal(done->to, store_schema_version());
    char *converted = columns_of(f->store), *rest_now = rest_of(f->store);
    assert_true(strlen(fresh) > 1000 && strlen(rest) > 1000);
    assert_string_equal(converted, fresh);
    assert_string_equal(rest_now, rest);
    free(converted);
    free(rest_now);
    free(fresh);
    free(rest);
}

static void an_earlier_schema_is_converted(void **state)
{
    struct fixture *f = *state;
    static const char WORK[] = "SELECT sum(subject_id * 1000 + due_ms * 100 + attempts * 10 + seq)"
                               " FROM work WHERE kind = 'rank'",
                      MAIL[] = "SELECT sum(id * 10 + created_ms) FROM outbox",
                      HOLDS[] = "SELECT (SELECT count(*) FROM hold WHERE id = 4 AND plant = 'north'"
                                " OR id = 5 AND plant = 'south' OR id = 6 AND plant = '') * 10 +"
                                " (SELECT count(*) FROM setting WHERE key LIKE 'hold/plant/%')";
    /* 14 was the first that there was on a server */
    for (int version = 14; version < store_schema_version(); version++) {
        int64_t work = 0, mail = 0, holds = 0;
        convert_from(f, version);
        assert_int_equal(db_number(f->store, WORK, NULL, &work, NULL), 0);
        assert_int_equal(work, 3514);
        assert_int_equal(db_number(f->store, MAIL, NULL, &mail, NULL), 0);
        assert_int_equal(mail, 225);
        assert_int_equal(db_number(f->store, HOLDS, NULL, &holds, NULL), 0);
        assert_int_equal(holds,
                         version < 18 ? 30 : 12); /* since then nothing reads those settings */
        /* the mail of a week leaves once, of a case any number may have one id */
        assert_int_equal(store_begin(f->store, NULL), 0);
        assert_int_equal(db_exec(f->store,
                                 "INSERT INTO outbox(event, case_id, revision, message_id,"
                                 " created_ms) VALUES('case', 3, 1, '<a@b>', 7)",
                                 NULL),
                         0);
        assert_int_equal(db_last_id(f->store), 0);
        assert_int_equal(db_exec(f->store,
                                 "INSERT INTO outbox(event, message_id, created_ms)"
                                 " VALUES('digest', '<digest@b>', 7)",
                                 NULL),
                         ERROR_CONFLICT);
        store_rollback(f->store);
    }
}

static void *leave_soon(void *arg)
{
    usleep(1500000);
    server_free(arg);
    return NULL;
}

/* A conversion waits for daemons of the older schema, a while; then it says who is there. */
static void a_conversion_waits_for_older_daemons(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    pthread_t thread;
    begin_with(f, 15);
    struct server *older = beside(f);
    assert_int_equal(store_open(f->dir, STORE_WRITE, &f->store, &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "other daemons are there (1 sessions, from the server's own"));
    assert_non_null(strstr(err.text, "stop them first"));
    assert_int_equal(pthread_create(&thread, NULL, leave_soon, older), 0);
    error_clear(&err);
    if (store_open(f->dir, STORE_WRITE, &f->store, &err))
        fail_msg("%s", err.text);
    pthread_join(thread, NULL);
    assert_int_equal(store_migration(f->store)->from, 15);
}

/* One that was away while a newer program converted does not go on. */
static void an_older_daemon_does_not_go_on(void **state)
{
    struct fixture *f = *state;
    struct store *reader = NULL;
    struct error err = {0};
    assert_int_equal(store_open(f->dir, STORE_READ, &reader, NULL), 0);
    cut_off(f);
    run_beside(f, "UPDATE oddloaf.about SET schema = 1000");
    assert_int_equal(store_begin(f->store, &err), ERROR_LOST);
    assert_non_null(strstr(err.text, "it was converted to schema 1000, this program has schema"));
    assert_non_null(strstr(err.hint, "install the version"));
    error_clear(&err);
    usleep(1100000);
    store_revive(f->store);
    assert_int_equal(store_present(f->store, &err), ERROR_LOST);
    assert_int_equal(store_begin(reader, NULL), ERROR_LOST);
    store_close(reader);
}

/* An older daemon had the database for itself: neither goes on beside the other. */
static void a_daemon_of_before_shares_with_none(void **state)
{
    struct fixture *f = *state;
    struct server *server = beside(f);
    PGresult *result = server_run(server, "SELECT pg_try_advisory_lock(31354205519110502)");
    assert_non_null(result);
    assert_string_equal(server->pq.getvalue(result, 0, 0), "f");
    server_clear(server, result);
    server_free(server);
}

static void a_schema_to_come_is_refused(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(db_exec(f->store, "UPDATE about SET schema = 1000", NULL), 0);
    store_close(f->store);
    f->store = NULL;
    assert_int_equal(store_open(f->dir, STORE_WRITE, &f->store, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "has schema 1000, this program knows up to"));
    f->store = NULL;
}

static void another_programs_schema_is_left_alone(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(db_exec(f->store,
                             "DROP SCHEMA oddloaf CASCADE; CREATE SCHEMA oddloaf;"
                             "CREATE TABLE oddloaf.theirs(x integer)",
                             NULL),
                     0);
    store_close(f->store);
    f->store = NULL;
    assert_int_equal(store_open(f->dir, STORE_WRITE, &f->store, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "is another program's"));
    f->store = NULL;
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        TEST(numbers_go_on_from_the_highest),
        TEST(what_comes_after_a_loss_is_written),
        TEST(a_transaction_that_lost_its_server_is_not_kept),
        TEST(a_transaction_that_failed_does_not_end_well),
        TEST(one_job_refused_does_not_undo_its_neighbours),
        TEST(daemons_write_in_turn),
        TEST(a_mark_tells_what_another_wrote),
        TEST(what_one_claims_no_other_does),
        TEST(what_one_accepted_another_has),
        TEST(what_was_erased_is_in_the_file_of_each),
        TEST(who_stands_still_is_not_waited_for),
        TEST(a_reader_writes_nothing),
        TEST(what_goes_with_what_is_as_in_a_file),
        TEST(an_earlier_schema_is_converted),
        TEST(a_conversion_waits_for_older_daemons),
        TEST(an_older_daemon_does_not_go_on),
        TEST(a_daemon_of_before_shares_with_none),
        TEST(a_schema_to_come_is_refused),
        TEST(another_programs_schema_is_left_alone),
    };
    return state_on_server() ? cmocka_run_group_tests(tests, NULL, NULL) : 77;
}

#else

int main(void)
{
    return 77;
}

#endif
