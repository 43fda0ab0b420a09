/* The process dies while a file is loaded, at any moment: after the next start the file is in the
 * store completely or not at all. */
#include "fixture.h"
#include <dirent.h>
#include <signal.h>
#include <sys/wait.h>

enum { ROUNDS = 16, ROWS = 12000, LONGEST_MS = 120 };

static char *readings(size_t *ret_length)
{
    struct text_buffer text = {0};
    text_append(&text, "lot,quantity,value,at\n");
    for (int i = 0; i < ROWS; i++)
        text_appendf(&text, "L2 6321 A,core_temp_c,%d.5,2026-11-%02dT%02d:%02d:00Z\n", 20 + i % 50,
                     1 + i / 1440, i / 60 % 24, i % 60);
    *ret_length = text.length;
    return text_take(&text);
}

/* In a process of its own, which is shot after `ms`. */
static void load_and_die(struct fixture *f, const char *text, size_t length, int ms)
{
    fixture_stop(f);
    pid_t child = fork();
    if (child == 0) {
        struct load_options options = fixture_options(f, RECORD_READINGS);
        fixture_start(f);
        fixture_load(f, &options, text, length, 1 << 16);
        _exit(0);
    }
    usleep((useconds_t)ms * 1000);
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    fixture_start(f);
}

static int count_staged(const struct fixture *f)
{
    char path[128];
    int count = 0;
    snprintf(path, sizeof path, "%s/loads", f->dir);
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        count += entry->d_name[0] != '.';
    if (folder)
        closedir(folder);
    return count;
}

static void test_killed_at_any_moment_it_is_all_or_nothing(void **state)
{
    size_t length;
    char *text = readings(&length);
    int complete = 0;
    (void)state;
    for (int round = 0; round < ROUNDS; round++) {
        void *fixture = NULL;
        struct error err = {0};
        assert_int_equal(fixture_setup(&fixture), 0);
        load_and_die(fixture, text, length, round * LONGEST_MS / ROUNDS);
        struct fixture *f = fixture;
        assert_int_equal(load_resume(f->writer, f->dir, &err), 0);
        assert_int_equal(count_staged(f), 0);
        json_t *answer = fixture_load_text(f, RECORD_READINGS, text);
        assert_int_equal(fixture_number(answer, "changed"), 0);
        if (fixture_number(answer, "same") > 0)
            complete++;
        assert_true(fixture_number(answer, "new") == ROWS ||
                    fixture_number(answer, "same") == ROWS);
        json_decref(answer);
        assert_int_equal(fixture_teardown(&fixture), 0);
    }
    print_message("%d of %d were complete after the crash\n", complete, ROUNDS);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_killed_at_any_moment_it_is_all_or_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
