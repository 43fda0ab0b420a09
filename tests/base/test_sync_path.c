/* The folder of a path, however that is written. */
#include "base/sync_path.h"
#include "check.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <unistd.h>

/* fsync(), for this whole program: of what. */
static char synced[256];

int fsync(int fd)
{
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, synced, sizeof synced - 1);
    synced[length < 0 ? 0 : length] = '\0';
    return (int)syscall(SYS_fsync, fd);
}

static void the_folder_it_stands_in(void **state)
{
    char here[256];
    (void)state;
    assert_int_equal(chdir("/usr/lib"), 0);
    const struct {
        const char *path, *folder;
    } ROWS[] = {{"/usr/share/x", "/usr/share"},
                {"/x", "/"},
                {"x", getcwd(here, sizeof here)},
                {"../share/x", "/usr/share"}};
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        sync_path_folder_of(ROWS[i].path);
        assert_string_equal(synced, ROWS[i].folder);
    }
    assert_int_equal(sync_path("/usr/share/there-is-none"), -1);
    assert_int_equal(errno, ENOENT);
    assert_int_equal(sync_path_folder_of("/usr/there-is-none/x"), -1);
    assert_int_equal(errno, ENOENT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_folder_it_stands_in)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
