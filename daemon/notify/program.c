#include "notify/program.h"
#include "base/text.h"
#include "base/when.h"
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

enum { SAID_MOST = 200, SLICE_MS = 100 };

struct child {
    pid_t pid;
    int input, said; /* our ends; -1 once closed */
    char text[SAID_MOST + 1];
    size_t text_length;
    const char *at; /* what is still to be fed */
    size_t left;
};

static void close_end(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

static int spawn_with(char *const argv[], int child_input, int child_said, pid_t *ret)
{
    static char path[] = "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin";
    static char language[] = "LANG=C.UTF-8";
    char *const environment[] = {path, language, NULL};
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t none, all;
    sigemptyset(&none);
    sigfillset(&all);
    posix_spawn_file_actions_init(&files);
    posix_spawnattr_init(&attributes);
    posix_spawn_file_actions_adddup2(&files, child_input, 0);
    posix_spawn_file_actions_addopen(&files, 1, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_adddup2(&files, child_said, 2);
    posix_spawn_file_actions_addclosefrom_np(&files, 3);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK |
                                              POSIX_SPAWN_SETSIGDEF);
    posix_spawnattr_setpgroup(&attributes, 0);
    posix_spawnattr_setsigmask(&attributes, &none);
    posix_spawnattr_setsigdefault(&attributes, &all);
    int failed = posix_spawn(ret, argv[0], &files, &attributes, argv, environment);
    posix_spawn_file_actions_destroy(&files);
    posix_spawnattr_destroy(&attributes);
    return failed;
}

static int start(struct child *c, char *const argv[])
{
    int in[2], out[2];
    if (pipe2(in, O_CLOEXEC))
        return errno;
    if (pipe2(out, O_CLOEXEC)) {
        int failed = errno;
        close(in[0]);
        close(in[1]);
        return failed;
    }
    int failed = spawn_with(argv, in[0], out[1], &c->pid);
    close(in[0]);
    close(out[1]);
    c->input = in[1];
    c->said = out[0];
    fcntl(c->input, F_SETFL, O_NONBLOCK);
    fcntl(c->said, F_SETFL, O_NONBLOCK);
    if (failed) {
        close_end(&c->input);
        close_end(&c->said);
    }
    return failed;
}

static void feed(struct child *c)
{
    ssize_t wrote = write(c->input, c->at, c->left);
    if (wrote > 0) {
        c->at += wrote;
        c->left -= (size_t)wrote;
    }
    /* a program that stops reading says by its exit code whether it took the message */
    if (c->left == 0 || (wrote < 0 && errno != EAGAIN && errno != EINTR))
        close_end(&c->input);
}

static void listen_to(struct child *c)
{
    char chunk[512];
    ssize_t got = read(c->said, chunk, sizeof chunk);
    if (got > 0) {
        size_t room = SAID_MOST - c->text_length;
        size_t keep = (size_t)got < room ? (size_t)got : room;
        memcpy(c->text + c->text_length, chunk, keep);
        c->text_length += keep;
    } else if (got == 0 || (errno != EAGAIN && errno != EINTR)) {
        close_end(&c->said);
    }
}

/* Feeds and listens until the program ended or the time is up. False: time is up. */
static bool attend(struct child *c, int64_t until_ms, int *ret_status)
{
    while (clock_monotonic_ms() < until_ms) {
        struct pollfd ends[2] = {{c->input, POLLOUT, 0}, {c->said, POLLIN, 0}};
        poll(ends, 2, SLICE_MS);
        if (c->input >= 0 && ends[0].revents)
            feed(c);
        if (c->said >= 0 && ends[1].revents)
            listen_to(c);
        if (waitpid(c->pid, ret_status, WNOHANG) == c->pid) {
            if (c->said >= 0)
                listen_to(c);
            return true;
        }
    }
    return false;
}

static bool is_temporary(int code)
{
    static const int TEMPORARY[] = {EX_UNAVAILABLE, EX_OSERR, EX_IOERR, EX_TEMPFAIL};
    for (size_t i = 0; i < sizeof TEMPORARY / sizeof TEMPORARY[0]; i++) {
        if (TEMPORARY[i] == code)
            return true;
    }
    /* codes outside sysexits.h are a program's own: a plant's script may simply exit 1 */
    return code < EX__BASE || code > EX__MAX;
}

static void judge(const struct child *c, const char *name, int status, struct program_result *ret)
{
    char said[SAID_MOST + 1];
    text_clip(c->text, said, sizeof said);
    if (WIFSIGNALED(status)) {
        ret->try_again = true;
        snprintf(ret->why, sizeof ret->why, "%.60s died of signal %d", name, WTERMSIG(status));
        return;
    }
    int code = WEXITSTATUS(status);
    ret->done = code == 0;
    ret->try_again = code != 0 && is_temporary(code);
    if (code)
        snprintf(ret->why, sizeof ret->why, "%.40s exited %d%s%.180s", name, code,
                 said[0] ? ": " : "", said);
}

void program_run(char *const argv[], const char *input, size_t length, int timeout_s,
                 struct program_result *ret)
{
    struct child c = {.input = -1, .said = -1, .at = input, .left = length};
    *ret = (struct program_result){0};
    int failed = start(&c, argv);
    if (failed) {
        ret->try_again = true; /* the program may be installed, or memory free, in a minute */
        snprintf(ret->why, sizeof ret->why, "cannot run %.120s: %s", argv[0], strerror(failed));
        return;
    }
    int status = 0;
    bool ended = attend(&c, clock_monotonic_ms() + timeout_s * INT64_C(1000), &status);
    if (!ended) {
        kill(-c.pid, SIGKILL);
        waitpid(c.pid, &status, 0);
        ret->try_again = true;
        snprintf(ret->why, sizeof ret->why, "%.60s took longer than %d s and was stopped", argv[0],
                 timeout_s);
    } else {
        judge(&c, argv[0], status, ret);
    }
    close_end(&c.input);
    close_end(&c.said);
}
