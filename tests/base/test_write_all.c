#include "check.h"

#include "base/write_all.h"
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>

enum { LENGTH = 1 << 20 };

static void on_alarm(int number)
{
    (void)number;
}

/* Counts what comes out of a pipe. */
static pid_t reader(const int ends[2])
{
    pid_t child = fork();
    if (child != 0)
        return child;
    char piece[4096];
    long count = 0;
    ssize_t n;
    close(ends[1]);
    while ((n = read(ends[0], piece, sizeof piece)) > 0) {
        count += n;
        usleep(20);
    }
    _exit(count == LENGTH ? 0 : 1);
}

/* A pipe takes little at a time, and a signal comes between each millisecond. */
static void what_is_interrupted_is_written_whole(void **state)
{
    (void)state;
    int ends[2], status = 0;
    char *bytes = calloc(1, LENGTH);
    const struct sigaction interrupts = {.sa_handler = on_alarm};
    const struct itimerval each = {{0, 1000}, {0, 1000}}, never = {{0, 0}, {0, 0}};
    assert_int_equal(pipe(ends), 0);
    pid_t child = reader(ends);
    assert_true(child > 0);
    close(ends[0]);
    sigaction(SIGALRM, &interrupts, NULL);
    setitimer(ITIMER_REAL, &each, NULL);
    int rc = write_all(ends[1], bytes, LENGTH);
    setitimer(ITIMER_REAL, &never, NULL);
    close(ends[1]);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_int_equal(rc, 0);
    assert_int_equal(status, 0);
    free(bytes);
}

static void what_cannot_be_written_is_told(void **state)
{
    (void)state;
    int full = open("/dev/full", O_WRONLY | O_CLOEXEC);
    assert_true(full >= 0);
    errno = 0;
    assert_int_equal(write_all(full, "x", 1), -1);
    assert_int_equal(errno, ENOSPC);
    assert_int_equal(write_all(full, "", 0), 0);
    close(full);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_interrupted_is_written_whole),
        cmocka_unit_test(what_cannot_be_written_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
