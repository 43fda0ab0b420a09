/* A backup is a database that opens, or it is not there. */
#include "check.h"
#include "store/backup.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct state {
    char base[64], dir[80], db[96], copy[96], partial[112];
};

static int setup(void **state)
{
    struct state *s = calloc(1, sizeof *s);
    snprintf(s->base, sizeof s->base, "/tmp/oddloaf-backup-XXXXXX");
    if (!mkdtemp(s->base))
        return -1;
    snprintf(s->dir, sizeof s->dir, "%s/state", s->base);
    snprintf(s->db, sizeof s->db, "%s/oddloaf.db", s->dir);
    snprintf(s->copy, sizeof s->copy, "%s/copy/oddloaf.db", s->base);
    snprintf(s->partial, sizeof s->partial, "%s.partial", s->copy);
    char folder[80];
    snprintf(folder, sizeof folder, "%s/copy", s->base);
    *state = s;
    return mkdir(s->dir, 0700) || mkdir(folder, 0700);
}

static int teardown(void **state)
{
    struct state *s = *state;
    char command[128];
    snprintf(command, sizeof command, "rm -rf %s", s->base);
    int rc = system(command);
    free(s);
    return rc;
}

static struct store *opened(const char *dir)
{
    struct store *store = NULL;
    struct error err = {0};
    assert_int_equal(store_open(dir, STORE_WRITE, &store, &err), 0);
    return store;
}

/* So many values that they fill pages of their own. */
static void filled(const struct state *s)
{
    struct store *store = opened(s->dir);
    assert_int_equal(store_begin(store, NULL), 0);
    for (int i = 0; i < 4000; i++) {
        char key[32];
        snprintf(key, sizeof key, "key-%06d", i);
        assert_int_equal(store_setting_set(store, key, "what the plant's scale said", NULL), 0);
    }
    assert_int_equal(store_commit(store, NULL), 0);
    store_close(store);
}

static void a_backup_opens_and_has_what_was_there(void **state)
{
    struct state *s = *state;
    struct error err = {0};
    filled(s);
    struct store *store = opened(s->dir);
    assert_int_equal(backup_make(store, s->copy, &err), 0);
    assert_int_equal(backup_make(store, s->copy, &err), ERROR_CONFLICT); /* nothing overwritten */
    char link[112]; /* one that leads nowhere is somebody's, too */
    snprintf(link, sizeof link, "%s.link", s->copy);
    assert_int_equal(symlink("nowhere", link), 0);
    error_clear(&err);
    assert_int_equal(backup_make(store, link, &err), ERROR_CONFLICT);
    assert_int_equal(unlink(link), 0);
    store_close(store);
    char folder[80], *value = NULL;
    snprintf(folder, sizeof folder, "%s/copy", s->base);
    store = opened(folder);
    assert_int_equal(store_setting_get(store, "key-003999", &value, &err), 0);
    assert_string_equal(value, "what the plant's scale said");
    free(value);
    store_close(store);
}

/* The next start would take a file named so for its own. */
static void no_copy_lies_in_the_state_but_in_its_backups(void **state)
{
    static const char *const NAMES[] = {"server", "loads/b.db", "loads/../server", "link/server",
                                        "backupsx/b.db"};
    struct state *s = *state;
    char path[128];
    struct store *store = opened(s->dir);
    snprintf(path, sizeof path, "%s/loads", s->dir);
    mkdir(path, 0700);
    snprintf(path, sizeof path, "%s/backupsx", s->dir);
    mkdir(path, 0700);
    snprintf(path, sizeof path, "%s/link", s->dir);
    assert_int_equal(symlink(s->dir, path), 0);
    free(backup_folder(s->dir));
    for (size_t i = 0; i < COUNT_OF(NAMES); i++) {
        struct error err = {0};
        snprintf(path, sizeof path, "%s/%s", s->dir, NAMES[i]);
        if (backup_make(store, path, &err) != ERROR_INVALID || access(path, F_OK) == 0)
            fail_msg("%s: %s", path, err.text);
        assert_non_null(strstr(err.text, "lies in the daemon's state"));
    }
    snprintf(path, sizeof path, "%s/link/backups/b.db", s->dir);
    assert_int_equal(backup_make(store, path, NULL), 0);
    store_close(store);
}

static void a_damaged_database_gives_no_backup(void **state)
{
    enum { PAGE = 4096 };
    struct state *s = *state;
    struct stat st;
    char noise[PAGE];
    struct error err = {0};
    filled(s);
    assert_int_equal(stat(s->db, &st), 0);
    memset(noise, 0x5a, sizeof noise);
    int fd = open(s->db, O_WRONLY);
    assert_int_equal(pwrite(fd, noise, sizeof noise, st.st_size / PAGE * 3 / 4 * PAGE), PAGE);
    close(fd);
    struct store *store = opened(s->dir);
    assert_int_equal(backup_make(store, s->copy, &err), ERROR_INTERNAL);
    assert_non_null(strstr(err.text, "is damaged"));
    assert_int_not_equal(access(s->copy, F_OK), 0);
    assert_int_not_equal(access(s->partial, F_OK), 0);
    store_close(store);
}

/* What the files hold cannot be told: that is no proof that they are whole. */
static void files_that_cannot_be_read_give_no_backup(void **state)
{
    static const char *const UNREADABLE[] = {
        "DROP TABLE attached_file;"
        "CREATE VIEW attached_file AS SELECT 'a' sha256, abs(-9223372036854775807 - 1) data",
        "DROP VIEW attached_file; CREATE TABLE attached_file(other TEXT)"};
    const struct state *s = *state;
    for (size_t i = 0; i < sizeof UNREADABLE / sizeof *UNREADABLE; i++) {
        struct error err = {0};
        struct store *store = opened(s->dir);
        char command[700];
        snprintf(command, sizeof command, "sqlite3 %s \"%s\"", s->db, UNREADABLE[i]);
        assert_int_equal(system(command), 0);
        assert_int_not_equal(backup_make(store, s->copy, &err), 0);
        assert_non_null(strstr(err.text, "attached files"));
        assert_int_not_equal(access(s->copy, F_OK), 0);
        store_close(store);
    }
}

/* By a clock that was a year ahead once, one of then is the latest for a year. */
static void the_one_just_made_stays(void **state)
{
    static const int64_t YEAR_MS = INT64_C(365) * 86400000, NOW_MS = INT64_C(1800000000000);
    const int64_t at_ms[] = {NOW_MS, NOW_MS + YEAR_MS, NOW_MS + 1000, NOW_MS + 2000};
    struct state *s = *state;
    char *path[4] = {NULL};
    struct store *store = opened(s->dir);
    for (int i = 0; i < 4; i++) {
        assert_int_equal(backup_make_dated(store, s->dir, 1, at_ms[i], &path[i], NULL), 0);
        assert_int_equal(access(path[i], F_OK), 0);
    }
    assert_int_not_equal(access(path[0], F_OK), 0);
    assert_int_equal(access(path[1], F_OK), 0);
    assert_int_not_equal(access(path[2], F_OK), 0);
    for (int i = 0; i < 4; i++)
        free(path[i]);
    store_close(store);
}

/* A conversion or a backup that was killed in its middle: nobody else takes its pieces away. */
static void what_a_killed_one_left_goes_at_the_start(void **state)
{
    static const char *const NAMES[] = {
        "schema-15-20260101T000000Z.db.partial", "schema-15-20260101T000000Z.db.partial-journal",
        "oddloaf-20260101T000000Z.db.partial-wal", "mine.db.partial-shm"};
    static const char KEPT[] = "a.partial.db";
    const struct state *s = *state;
    char path[160];
    store_close(opened(s->dir));
    snprintf(path, sizeof path, "%s/backups", s->dir);
    assert_true(mkdir(path, 0700) == 0 || access(path, F_OK) == 0);
    for (size_t i = 0; i <= sizeof NAMES / sizeof *NAMES; i++) {
        bool last = i == sizeof NAMES / sizeof *NAMES;
        snprintf(path, sizeof path, "%s/backups/%s", s->dir, last ? KEPT : NAMES[i]);
        FILE *file = fopen(path, "we");
        assert_non_null(file);
        fclose(file);
    }
    store_close(opened(s->dir));
    assert_int_equal(access(path, F_OK), 0);
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        snprintf(path, sizeof path, "%s/backups/%s", s->dir, NAMES[i]);
        assert_int_not_equal(access(path, F_OK), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_backup_opens_and_has_what_was_there, setup, teardown),
        cmocka_unit_test_setup_teardown(no_copy_lies_in_the_state_but_in_its_backups, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_damaged_database_gives_no_backup, setup, teardown),
        cmocka_unit_test_setup_teardown(files_that_cannot_be_read_give_no_backup, setup, teardown),
        cmocka_unit_test_setup_teardown(the_one_just_made_stays, setup, teardown),
        cmocka_unit_test_setup_teardown(what_a_killed_one_left_goes_at_the_start, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
