/* A state on a PostgreSQL server that goes away, is shared or comes from an earlier version. */
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/store_inside.h"
#include <string.h>

#ifdef ODDLOAF_POSTGRES

#include "base/text.h"
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

static void one_daemon_writes(void **state)
{
    struct fixture *f = *state;
    char second[] = "/tmp/oddloaf-second-XXXXXX", command[256];
    struct store *other = NULL;
    struct error err = {0};
    assert_non_null(mkdtemp(second));
    snprintf(command, sizeof command, "cp %s/server %s/", f->dir, second);
    assert_int_equal(system(command), 0);
    assert_int_equal(store_open(second, STORE_WRITE, &other, &err), ERROR_BUSY);
    assert_non_null(strstr(err.text, "another daemon writes to this database"));
    assert_int_equal(store_open(second, STORE_READ, &other, NULL), 0);
    store_close(other);
    snprintf(command, sizeof command, "rm -rf %s", second);
    assert_int_equal(system(command), 0);
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

static void an_earlier_schema_is_converted(void **state)
{
    enum { FIRST = 14 }; /* the first there was on a server */
    struct fixture *f = *state;
    struct error err = {0};
    char *fresh = columns_of(f->store);
    assert_int_equal(db_exec(f->store, "DROP SCHEMA oddloaf CASCADE", NULL), 0);
    store_close(f->store);
    f->store = NULL;
    char *address = NULL;
    assert_int_equal(place_get(f->dir, &address, NULL), 0);
    struct server *server = server_new(address, SERVER_WRITES);
    assert_true(server_there(server));
    int64_t rows;
    if (server_schema_make(server, FIRST, NULL, &rows, &err))
        fail_msg("%s", err.text);
    server_free(server);
    free(address);
    if (store_open(f->dir, STORE_WRITE, &f->store, &err))
        fail_msg("%s", err.text);
    const struct store_migration *done = store_migration(f->store);
    assert_int_equal(done ? done->to : FIRST, store_schema_version());
    char *converted = columns_of(f->store);
    assert_true(strlen(fresh) > 1000);
    assert_string_equal(converted, fresh);
    free(converted);
    free(fresh);
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
        TEST(one_daemon_writes),
        TEST(a_reader_writes_nothing),
        TEST(an_earlier_schema_is_converted),
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
