/* Sheets read by a process apart, which is this program once more. */
#include "base/text.h"
#include "check.h"
#include "tables/sheet.h"
#include "tables/sheet_apart.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The CSV of an open file, read `step` bytes at a time, or what is wrong with it. Caller frees. */
static char *read_apart(int fd, const char *name, char decimal, size_t step)
{
    char buffer[256];
    struct text_buffer out = {0};
    struct error err = {0};
    struct sheet_apart *apart;
    size_t length;
    int rc;
    assert_int_equal(sheet_apart_start(fd, &(struct sheet_options){name, decimal}, &apart, &err),
                     0);
    while ((rc = sheet_apart_read(apart, buffer, step, &length, &err)) == 0 && length) {
        assert_true(length <= step);
        text_append_bytes(&out, buffer, length);
    }
    if (rc) {
        text_reset(&out);
        text_appendf(&out, "%s: %s; %s", error_word(err.code), err.text, err.hint);
        assert_int_equal(rc, err.code);
    }
    /* there is nothing behind its end */
    assert_int_equal(sheet_apart_read(apart, buffer, step, &length, &err), 0);
    assert_int_equal(length, 0);
    sheet_apart_free(apart);
    return text_take(&out);
}

static int open_sheet(const char *name)
{
    char path[512];
    snprintf(path, sizeof path, "%s/tests/tables/sheets/%s", ODDLOAF_SOURCE_DIR, name);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    assert_true(fd >= 0);
    return fd;
}

static int put(void *arg, const char *bytes, size_t length)
{
    text_append_bytes(arg, bytes, length);
    return 0;
}

/* The same as here; from its start, wherever it stands; however little is read at a time. */
static void as_it_is_read_here(void **state)
{
    static char bytes[1 << 17];
    struct text_buffer here[2] = {{0}, {0}};
    int fd = open_sheet("openpyxl.xlsx");
    size_t length = (size_t)read(fd, bytes, sizeof bytes);
    (void)state;
    for (int comma = 0; comma < 2; comma++) {
        const char decimal = comma ? ',' : '.';
        assert_int_equal(sheet_read(bytes, length, &(struct sheet_options){NULL, decimal}, put,
                                    &here[comma], NULL),
                         0);
        for (size_t step = 1; step <= 256; step *= 16) {
            char *got = read_apart(fd, NULL, decimal, step);
            assert_string_equal(got, here[comma].data);
            free(got);
        }
    }
    assert_string_not_equal(here[0].data, here[1].data);
    text_buffer_free(&here[0]);
    text_buffer_free(&here[1]);
    close(fd);
}

static void what_is_wrong_is_told(void **state)
{
    int fd = open_sheet("openpyxl.xlsx"), none = open("/dev/null", O_RDONLY);
    struct error err = {0};
    struct sheet_apart *apart;
    (void)state;
    char *got = read_apart(fd, "nowhere", '.', 256);
    assert_non_null(strstr(got, "nowhere"));
    assert_non_null(strstr(got, "; it has ")); /* its hint comes along */
    free(got);
    got = read_apart(none, NULL, '.', 256);
    assert_true(sheet_read("", 0, &(struct sheet_options){NULL, '.'}, put, NULL, &err) < 0);
    assert_non_null(strstr(got, err.text));
    err = (struct error){0};
    free(got);
    close(fd);
    close(none);
    assert_int_equal(sheet_apart_start(-1, &(struct sheet_options){NULL, '.'}, &apart, &err),
                     ERROR_IO);
    assert_non_null(strstr(err.text, "in a process of its own"));
}

/* Whoever does not want the rest of it ends the process. */
static void an_end_before_its_end(void **state)
{
    char byte;
    size_t length;
    struct sheet_apart *apart;
    int fd = open_sheet("xlsxwriter.xlsx");
    (void)state;
    assert_int_equal(sheet_apart_start(fd, &(struct sheet_options){NULL, '.'}, &apart, NULL), 0);
    assert_int_equal(sheet_apart_read(apart, &byte, 1, &length, NULL), 0);
    assert_int_equal(length, 1);
    sheet_apart_free(apart);
    sheet_apart_free(NULL);
    close(fd);
}

static void who_is_asked(void **state)
{
    char name[] = "oddloaf-sheet", other[] = "oddloaf";
    (void)state;
    assert_true(sheet_apart_asked((char *[]){name, NULL}));
    assert_false(sheet_apart_asked((char *[]){other, NULL}));
    assert_false(sheet_apart_asked((char *[]){NULL}));
}

int main(int argc, char *argv[])
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_it_is_read_here),
        cmocka_unit_test(what_is_wrong_is_told),
        cmocka_unit_test(an_end_before_its_end),
        cmocka_unit_test(who_is_asked),
    };
    (void)argc;
    if (sheet_apart_asked(argv))
        sheet_apart_main(argv);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
