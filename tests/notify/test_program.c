/* Programs run without a shell: exit codes of sysexits.h, time limits, closed descriptors. */
#include "base/text.h"
#include "base/when.h"
#include "check.h"
#include "notify/program.h"
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static struct program_result run_program(char *const argv[], const char *input, int timeout_s)
{
    struct program *p = program_start(argv, input, strlen(input), timeout_s);
    while (!program_attend(p)) {
        struct pollfd said = program_poll(p);
        poll(&said, 1, PROGRAM_SLICE_MS);
    }
    struct program_result result = *program_result(p);
    program_free(p);
    return result;
}

static struct program_result run(const char *script, const char *input, int timeout_s)
{
    char *const argv[] = {(char *)"/bin/sh", (char *)"-c", (char *)script, NULL};
    return run_program(argv, input, timeout_s);
}

static void success(void **state)
{
    (void)state;
    struct program_result r = run("cat >/dev/null", "message\n", 10);
    assert_true(r.done);
    assert_string_equal(r.why, "");
}

static void the_whole_input_arrives(void **state)
{
    enum { SIZE = 1 << 20 }; /* more than a pipe holds */
    char *input = malloc(SIZE + 1);
    (void)state;
    memset(input, 'x', SIZE);
    input[SIZE] = '\0';
    struct program_result r = run("test \"$(wc -c)\" -eq 1048576", input, 20);
    free(input);
    assert_true(r.done);
}

static void exit_codes_say_whether_to_try_again(void **state)
{
    static const struct {
        int code;
        bool again;
    } CASES[] = {{64, false}, {65, false}, {67, false}, {69, true},  {70, false}, {71, true},
                 {73, false}, {74, true},  {75, true},  {77, false}, {78, false}, {1, true}};
    (void)state;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        char script[64], why[64];
        snprintf(script, sizeof script, "echo no such user >&2; exit %d", CASES[i].code);
        struct program_result r = run(script, "", 10);
        assert_false(r.done);
        assert_int_equal(r.try_again, CASES[i].again);
        snprintf(why, sizeof why, "/bin/sh exited %d: no such user", CASES[i].code);
        assert_string_equal(r.why, why);
    }
}

static void what_it_says_is_one_line(void **state)
{
    (void)state;
    struct program_result r =
        run("printf 'cannot connect\\n\\tno route\\r\\n' >&2; exit 69", "", 10);
    assert_string_equal(r.why, "/bin/sh exited 69: cannot connect  no route");
}

/* It is kept, and told as JSON. */
static void what_it_says_is_cut_at_a_character(void **state)
{
    (void)state;
    struct program_result r = run(
        "{ printf 'x'; i=0; while [ $i -lt 150 ]; do printf 'á'; i=$((i+1)); done; } >&2; exit 69",
        "", 10);
    assert_true(strlen(r.why) > 180);
    assert_true(text_is_utf8(r.why, strlen(r.why)));
}

static void a_program_that_hangs_is_stopped_with_its_children(void **state)
{
    (void)state;
    int64_t before = clock_monotonic_ms();
    struct program_result r = run("sleep 90 & sleep 90", "", 1);
    assert_true(clock_monotonic_ms() - before < 60000);
    assert_false(r.done);
    assert_true(r.try_again);
    assert_non_null(strstr(r.why, "longer than 1 s"));
}

static void a_program_that_is_not_there(void **state)
{
    char *const argv[] = {(char *)"/nowhere/mail", NULL};
    (void)state;
    struct program_result r = run_program(argv, "", 5);
    assert_false(r.done);
    assert_true(r.try_again);
    assert_non_null(strstr(r.why, "/nowhere/mail"));
}

static void a_program_killed_by_a_signal_is_tried_again(void **state)
{
    (void)state;
    struct program_result r = run("kill -9 $$", "", 5);
    assert_false(r.done);
    assert_true(r.try_again);
}

static void one_that_floods_us_is_heard_to_the_end(void **state)
{
    (void)state;
    struct program_result r =
        run("yes 'no such user' | head -c 4000000 >&2; cat >/dev/null; exit 67", "message\n", 30);
    assert_false(r.done);
    assert_false(r.try_again);
    assert_non_null(strstr(r.why, "exited 67: no such user"));
    assert_true(strlen(r.why) < sizeof r.why);
}

static void many_run_beside_each_other(void **state)
{
    enum { MANY = 16 };
    struct program *hanging[MANY];
    char *const argv[] = {(char *)"/bin/sh", (char *)"-c", (char *)"sleep 90", NULL};
    (void)state;
    for (int i = 0; i < MANY; i++)
        hanging[i] = program_start(argv, "", 0, 90);
    int64_t before = clock_monotonic_ms();
    assert_true(run("cat >/dev/null", "message\n", 60).done);
    assert_true(clock_monotonic_ms() - before < 60000);
    for (int i = 0; i < MANY; i++) {
        assert_false(program_attend(hanging[i]));
        program_free(hanging[i]);
    }
}

static void no_descriptor_of_ours_is_handed_down(void **state)
{
    int fds[2];
    (void)state;
    assert_int_equal(pipe(fds), 0); /* inheritable on purpose */
    struct program_result r = run("test \"$(ls /proc/self/fd | wc -l)\" -le 4", "", 5);
    close(fds[0]);
    close(fds[1]);
    assert_true(r.done);
}

static void an_input_nobody_reads_is_no_error(void **state)
{
    enum { SIZE = 1 << 20 };
    char *input = malloc(SIZE + 1);
    (void)state;
    memset(input, 'x', SIZE);
    input[SIZE] = '\0';
    struct program_result r = run("exit 0", input, 10);
    free(input);
    assert_true(r.done);
}

/* Killed before the program has read a word: half a mail is never taken for the whole. */
static void one_whose_starter_is_killed_reads_it_whole(void **state)
{
    enum { SIZE = 1 << 20, TENTHS = 600 };
    char folder[] = "/tmp/oddloaf-program-XXXXXX", script[256], file[64], found[32] = "";
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(file, sizeof file, "%s/count", folder);
    snprintf(script, sizeof script, "sleep 0.3; wc -c >%s/part && mv %s/part %s", folder, folder,
             file);
    char *const argv[] = {(char *)"/bin/sh", (char *)"-c", script, NULL};
    char *input = calloc(1, SIZE);
    pid_t starter = fork();
    if (starter == 0) {
        program_start(argv, input, SIZE, 60);
        kill(getpid(), SIGKILL);
    }
    free(input);
    waitpid(starter, NULL, 0);
    for (int i = 0; access(file, R_OK) && i < TENTHS; i++)
        poll(NULL, 0, 100);
    FILE *f = fopen(file, "r");
    assert_non_null(f);
    assert_non_null(fgets(found, sizeof found, f));
    fclose(f);
    unlink(file);
    rmdir(folder);
    assert_string_equal(found, "1048576\n");
}

static int ignore_pipe(void **state)
{
    (void)state;
    return signal(SIGPIPE, SIG_IGN) == SIG_ERR;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(success),
        cmocka_unit_test(the_whole_input_arrives),
        cmocka_unit_test(exit_codes_say_whether_to_try_again),
        cmocka_unit_test(what_it_says_is_one_line),
        cmocka_unit_test(what_it_says_is_cut_at_a_character),
        cmocka_unit_test(a_program_that_hangs_is_stopped_with_its_children),
        cmocka_unit_test(a_program_that_is_not_there),
        cmocka_unit_test(a_program_killed_by_a_signal_is_tried_again),
        cmocka_unit_test(one_that_floods_us_is_heard_to_the_end),
        cmocka_unit_test(many_run_beside_each_other),
        cmocka_unit_test(no_descriptor_of_ours_is_handed_down),
        cmocka_unit_test(an_input_nobody_reads_is_no_error),
        cmocka_unit_test(one_whose_starter_is_killed_reads_it_whole),
    };
    return cmocka_run_group_tests(tests, ignore_pipe, NULL);
}
