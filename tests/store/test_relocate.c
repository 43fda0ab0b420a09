/* A folder's path as long as the system takes is named whole, or not at all. */
#include "fixture.h"
#include "store/relocate.h"
#include <sys/stat.h>
#include <unistd.h>

static void long_paths_are_whole(void **state)
{
#ifdef ODDLOAF_POSTGRES
    struct fixture *f = *state;
    static const char NAME[] = "/a-folder-whose-name-is-as-long-as-all-of-the-others-that-are-here";
    static struct relocated moved;
    struct error err = {0};
    struct text_buffer path = {0};
    text_append(&path, f->dir);
    while (path.length < 700) {
        text_append(&path, NAME);
        assert_int_equal(mkdir(path.data, 0700), 0);
    }
    assert_int_equal(relocate_to_folder(path.data, &moved, &err), ERROR_CONFLICT);
    assert_int_equal(strncmp(moved.to, path.data, path.length), 0);
    assert_string_equal(moved.to + path.length, "/oddloaf.db");
    while (path.length < PATH_MAX - 70)
        text_append(&path, NAME);
    error_clear(&err);
    while (path.length < PATH_MAX - 10)
        text_append(&path, "x");
    assert_int_equal(relocate_to_folder(path.data, &moved, &err), ERROR_INVALID);
    assert_int_equal(relocate_to_server(path.data, "postgresql://h/d", 1, &moved, NULL),
                     ERROR_INVALID);
    assert_non_null(strstr(err.text, "too long"));
    text_buffer_free(&path);
#else
    (void)state;
    skip();
#endif
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(long_paths_are_whole, fixture_open, fixture_close)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
