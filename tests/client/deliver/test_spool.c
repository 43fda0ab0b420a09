/* What is said to be kept is on disk, and what a cut-off write left is somebody's complaint. */
#include "check.h"
#include "deliver/spool.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

/* fsync(), for this whole program: which files and folders below `dir`, in order. */
static char dir[64], synced[1024];

int fsync(int fd)
{
    char link[64], path[256] = "";
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    if (readlink(link, path, sizeof path - 1) > 0 && strncmp(path, dir, strlen(dir)) == 0) {
        const char *below = path + strlen(dir);
        size_t used = strlen(synced);
        bool is_file = strstr(below, ".ndjson") != NULL;
        snprintf(synced + used, sizeof synced - used, "%s ", is_file ? "FILE" : below);
    }
    return (int)syscall(SYS_fsync, fd);
}

static int open_dir(void **state)
{
    char path[96];
    (void)state;
    strcpy(dir, "/tmp/oddloaf-spool-XXXXXX");
    synced[0] = '\0';
    if (!mkdtemp(dir))
        return -1;
    snprintf(path, sizeof path, "%s/a/b", dir);
    return setenv("ODDLOAF_SPOOL", path, 1);
}

static int close_dir(void **state)
{
    char command[96];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

static struct spool *opened(void)
{
    struct spool *s = NULL;
    assert_int_equal(spool_open(&s, NULL), 0);
    return s;
}

/* The folders that were made on the way, and then the file and its name. */
static void new_folders_are_on_disk_as_well(void **state)
{
    char path[SPOOL_PATH];
    (void)state;
    struct spool *s = opened();
    assert_string_equal(synced, " /a ");
    assert_int_equal(spool_keep(s, "{}\n", 3, path, NULL), 0);
    assert_string_equal(synced, " /a FILE /a/b ");
    spool_close(s);
    synced[0] = '\0';
    spool_close(opened());
    assert_string_equal(synced, "");
}

static int take(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    (void)refused;
    text_append_bytes(arg, lines, length);
    return 0;
}

static void leave(const char *name, const char *text)
{
    char path[160];
    snprintf(path, sizeof path, "%s/a/b/%s", dir, name);
    FILE *file = fopen(path, "we");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

/* Whole lines are sent, whether the file was whole or not; what is torn stays for a person. */
static void what_was_cut_off_is_sent_as_far_as_it_is_whole(void **state)
{
    char refused[SPOOL_PATH];
    struct text_buffer sent = {0};
    (void)state;
    struct spool *s = opened();
    leave("00000001-a.ndjson.new", "{\"a\":1}\n{\"b\":");
    leave("00000002-b.ndjson.new", "{\"c\":2}\n");
    leave("00000003-c.ndjson.new", "");
    assert_int_equal(spool_replay(s, take, &sent, refused, NULL), 0);
    assert_string_equal(sent.data, "{\"a\":1}\n{\"c\":2}\n");
    assert_int_equal(spool_count(s).waiting, 0);
    assert_int_equal(spool_count(s).torn, 1);
    assert_string_equal(refused, "");
    text_buffer_free(&sent);
    spool_close(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(new_folders_are_on_disk_as_well, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(what_was_cut_off_is_sent_as_far_as_it_is_whole, open_dir,
                                        close_dir),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
