/* Where what was erased still lies. */
#include "check.h"
#include "store/copies.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char dir[64];

static void leave(const char *name, bool folder, time_t at)
{
    char path[160];
    const struct timespec times[] = {{at, 0}, {at, 0}};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    if (folder)
        assert_int_equal(mkdir(path, 0700), 0);
    else
        assert_int_equal(close(open(path, O_CREAT | O_WRONLY, 0600)), 0);
    assert_int_equal(utimensat(AT_FDCWD, path, times, 0), 0);
}

static void is_kept(const struct copies *copies, const char *where, int count, int64_t oldest_ms)
{
    assert_string_equal(copies->where + strlen(dir), where);
    assert_int_equal(copies->count, count);
    assert_int_equal(copies->oldest_ms, oldest_ms);
}

static void each_kind_is_counted_by_itself(void **state)
{
    struct copies found[COPIES_KINDS];
    (void)state;
    assert_int_equal(copies_look(dir, found), 0);
    assert_int_equal(copies_look("/no/such", found), 0);
    leave("oddloaf.db", false, 1000);
    leave("erasures", false, 1000);
    leave("backups", true, 1000);
    leave("replaced", true, 1000);
    assert_int_equal(copies_look(dir, found), 0);
    leave("backups/oddloaf-20261120T141400Z.db", false, 3000);
    leave("backups/by-hand", false, 2000);
    leave("backups/schema-17-20261120T141400Z.db", false, 2500);
    leave("backups/.hidden", false, 10);
    leave("backups/a-folder", true, 10);
    int count = copies_look(dir, found);
    assert_int_equal(count, 1);
    is_kept(&found[0], "/backups", 3, 2000000);
    copies_clear(found, count);
    leave("replaced/20261120T141400Z", true, 5000);
    leave("replaced/a-file", false, 10);
    leave("oddloaf.db.moved-20261120T141400Z", false, 4000);
    count = copies_look(dir, found);
    assert_int_equal(count, 3);
    is_kept(&found[1], "/replaced", 1, 5000000);
    is_kept(&found[2], "/oddloaf.db.moved-*", 1, 4000000);
    copies_clear(found, count);
}

static int open_dir(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/oddloaf-copies-XXXXXX");
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
        cmocka_unit_test_setup_teardown(each_kind_is_counted_by_itself, open_dir, close_dir),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
