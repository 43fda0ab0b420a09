/* One database in the place of another: what was there is kept, by a name that is on disk. */
#include "base/text.h"
#include "check.h"
#include "store/replace.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* fsync(), for this whole program: how often a folder named "replaced" was synced that stands in
 * the state itself. */
static char dir[64];
static int kept_synced;

int fsync(int fd)
{
    char link[64], path[256] = "", kept[96];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    snprintf(kept, sizeof kept, "%s/replaced", dir);
    ssize_t length = readlink(link, path, sizeof path - 1);
    kept_synced += length > 0 && strcmp(path, kept) == 0;
    return (int)syscall(SYS_fsync, fd);
}

static int open_state(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/oddloaf-replace-XXXXXX");
    kept_synced = 0;
    return mkdtemp(dir) ? 0 : -1;
}

static int close_state(void **state)
{
    char command[96];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

static void write_file(const char *folder, const char *text)
{
    char path[160];
    snprintf(path, sizeof path, "%s/oddloaf.db", folder);
    FILE *file = fopen(path, "we");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void assert_file(const char *folder, const char *text)
{
    char path[160], said[16] = "";
    snprintf(path, sizeof path, "%s%s/oddloaf.db", dir, folder);
    FILE *file = fopen(path, "re");
    assert_non_null(file);
    assert_non_null(fgets(said, sizeof said, file));
    fclose(file);
    assert_string_equal(said, text);
}

static void make_ready(const char *text)
{
    char *folder = replace_folder(dir, NULL);
    assert_non_null(folder);
    write_file(folder, text);
    assert_int_equal(replace_ready(dir, 0, NULL), 0);
    free(folder);
}

static void what_was_there_is_kept(void **state)
{
    (void)state;
    write_file(dir, "old");
    assert_true(replace_any(dir));
    make_ready("new");
    assert_file("", "old");
    assert_int_equal(replace_finish(dir, NULL), 0);
    assert_file("", "new");
    assert_file("/replaced/19700101T000000Z", "old");
    assert_int_equal(kept_synced, 1);
    assert_int_equal(replace_time(dir, 0), 1000);
    assert_int_equal(replace_finish(dir, NULL), 0); /* once is enough */
    assert_file("", "new");
}

static void nothing_is_kept_of_nothing(void **state)
{
    char path[96];
    (void)state;
    make_ready("new");
    assert_int_equal(replace_finish(dir, NULL), 0);
    assert_file("", "new");
    snprintf(path, sizeof path, "%s/replaced", dir);
    assert_int_not_equal(access(path, F_OK), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_was_there_is_kept, open_state, close_state),
        cmocka_unit_test_setup_teardown(nothing_is_kept_of_nothing, open_state, close_state),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
