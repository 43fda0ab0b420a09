/* Whose a state's folder is, and whether what lies in it can be anybody's. */
#include "check.h"
#include "store/owner.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char dir[64];

static const char *below(const char *name, char out[static 128])
{
    snprintf(out, 128, "%s/%s", dir, name);
    return out;
}

static int look(char out[static 512])
{
    struct error err = {0};
    int rc = owner_look(dir, &err);
    error_format(&err, out, 512);
    return rc;
}

static int take(void)
{
    struct owner *owner = NULL;
    int rc = owner_take(dir, &owner, NULL);
    owner_free(owner);
    return rc;
}

static void what_anybody_may_write_to_is_refused(void **state)
{
    static const char *const FILES[] = {"oddloaf.db", "oddloaf.db-wal", "erasures"};
    static const char *const FOLDERS[] = {"backups", "loads"};
    char path[128], said[512];
    (void)state;
    assert_int_equal(look(said), 0);
    assert_int_equal(take(), 0);
    for (size_t i = 0; i < COUNT_OF(FILES) + COUNT_OF(FOLDERS); i++) {
        bool file = i < COUNT_OF(FILES);
        below(file ? FILES[i] : FOLDERS[i - COUNT_OF(FILES)], path);
        if (file)
            close(open(path, O_CREAT | O_WRONLY, 0600));
        else
            mkdir(path, 0700);
        assert_int_equal(chmod(path, file ? 0644 : 0755), 0);
        assert_int_equal(look(said), 0);
        assert_int_equal(chmod(path, file ? 0646 : 0757), 0);
        assert_int_equal(look(said), ERROR_INVALID);
        if (!strstr(said, path) || !strstr(said, "by anybody"))
            fail_msg("%s: %s", path, said);
        assert_int_equal(take(), ERROR_INVALID);
        assert_int_equal(chmod(path, file ? 0660 : 0770), 0);
        assert_int_equal(take(), 0);
    }
    assert_int_equal(chmod(dir, 0777), 0);
    assert_int_equal(look(said), ERROR_INVALID);
    assert_int_equal(take(), ERROR_INVALID);
}

/* The lock is the folder's: two daemons would have one database. */
static void a_database_through_a_link_is_refused(void **state)
{
    static const char *const NAMES[] = {"oddloaf.db", "oddloaf.db-wal", "oddloaf.db-shm"};
    char other[128], path[128], said[512];
    (void)state;
    close(open(below("other", other), O_CREAT | O_WRONLY, 0600));
    for (size_t i = 0; i < COUNT_OF(NAMES); i++) {
        struct owner *owner = NULL;
        struct error err = {0};
        assert_int_equal(symlink(other, below(NAMES[i], path)), 0);
        assert_int_equal(owner_take(dir, &owner, &err), ERROR_INVALID);
        error_format(&err, said, sizeof said);
        if (!strstr(said, path) || !strstr(said, "is a symbolic link"))
            fail_msg("%s: %s", path, said);
        assert_int_equal(unlink(path), 0);
        assert_int_equal(take(), 0);
    }
}

/* Before the first start there is none. */
static void a_folder_that_is_not_there_is_no_fault(void **state)
{
    (void)state;
    assert_int_equal(owner_look("/none/such", NULL), 0);
    assert_int_equal(owner_take("/none/such", &(struct owner *){NULL}, NULL), ERROR_IO);
}

static int open_dir(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/oddloaf-owner-XXXXXX");
    return mkdtemp(dir) ? 0 : -1;
}

static int close_dir(void **state)
{
    char command[96];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_anybody_may_write_to_is_refused, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(a_database_through_a_link_is_refused, open_dir, close_dir),
        cmocka_unit_test(a_folder_that_is_not_there_is_no_fault),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
