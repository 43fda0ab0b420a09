#include "notify/program.h"
#include "base/text.h"
#include "base/when.h"
#include "base/write_all.h"
#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

enum { SAID_MOST = 200, NAME_MOST = 60, DYING_MS = 1000 };

struct program {
    char name[NAME_MOST + 1]; /* for people */
    pid_t pid;                /* 0: has ended, or never ran */
    int64_t until_ms;         /* monotonic: its time is up, or (killed) we wait no longer for it */
    int timeout_s;
    bool killed;
    int said; /* our end; -1 once closed */
    char text[SAID_MOST + 1];
    size_t text_length;
    struct program_result result;
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

/* All of it stands there before the program begins: through a pipe, one whose feeder is killed
 * takes half a mail for the whole one and sends it. */
static int hold_input(const char *input, size_t length, int *ret)
{
    int fd = memfd_create("input", MFD_CLOEXEC);
    if (fd < 0)
        return errno;
    if (write_all(fd, input, length) || lseek(fd, 0, SEEK_SET) < 0) {
        int failed = errno;
        close(fd);
        return failed;
    }
    *ret = fd;
    return 0;
}

static int start(struct program *p, char *const argv[], int input)
{
    int out[2];
    if (pipe2(out, O_CLOEXEC))
        return errno;
    int failed = spawn_with(argv, input, out[1], &p->pid);
    close(out[1]);
    p->said = out[0];
    fcntl(p->said, F_SETFL, O_NONBLOCK);
    if (failed)
        close_end(&p->said);
    return failed;
}

static void listen_to(struct program *p)
{
    assert(p->said >= 0 && p->text_length <= SAID_MOST);
    char chunk[4096]; /* of one that floods us no more than that a turn */
    ssize_t got = read(p->said, chunk, sizeof chunk);
    if (got > 0) {
        size_t room = SAID_MOST - p->text_length;
        size_t keep = (size_t)got < room ? (size_t)got : room;
        memcpy(p->text + p->text_length, chunk, keep);
        p->text_length += keep;
    } else if (got == 0 || (errno != EAGAIN && errno != EINTR)) {
        close_end(&p->said);
    }
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

/* What it said as one line: ends of lines and tabs are blanks, the last ones dropped. */
static void one_line(struct program *p)
{
    for (char *at = p->text; *at; at++) {
        if (strchr("\t\n\r", *at))
            *at = ' ';
    }
    while (p->text_length && p->text[p->text_length - 1] == ' ')
        p->text[--p->text_length] = '\0';
}

static void judge(struct program *p, int status)
{
    assert(p->text_length <= SAID_MOST && !p->killed);
    char said[sizeof p->text - 20]; /* with the name and the code it fits `why` */
    struct program_result *r = &p->result;
    one_line(p);
    text_clip(p->text, said, sizeof said);
    if (WIFSIGNALED(status)) {
        r->try_again = true;
        snprintf(r->why, sizeof r->why, "%s died of signal %d", p->name, WTERMSIG(status));
        return;
    }
    int code = WEXITSTATUS(status);
    r->done = code == 0;
    r->try_again = code != 0 && is_temporary(code);
    if (code)
        snprintf(r->why, sizeof r->why, "%s exited %d%s%s", p->name, code, said[0] ? ": " : "",
                 said);
}

static void end(struct program *p)
{
    p->pid = 0;
    close_end(&p->said);
}

/* What doesn't die of SIGKILL hangs in the kernel, on a lost disk: not to be waited for. */
static void time_is_up(struct program *p)
{
    assert(p->pid > 0);
    if (p->killed) {
        end(p);
        return;
    }
    kill(-p->pid, SIGKILL);
    p->killed = true;
    p->until_ms = clock_monotonic_ms() + DYING_MS;
    p->result.try_again = true;
    snprintf(p->result.why, sizeof p->result.why, "%s took longer than %d s and was stopped",
             p->name, p->timeout_s);
}

struct program *program_start(char *const argv[], const char *input, size_t length, int timeout_s)
{
    assert(argv && argv[0] && timeout_s > 0);
    struct program *p = xcalloc(1, sizeof *p);
    *p = (struct program){.said = -1,
                          .timeout_s = timeout_s,
                          .until_ms = clock_monotonic_ms() + timeout_s * INT64_C(1000)};
    text_clip(argv[0], p->name, sizeof p->name);
    int fd = -1;
    int failed = hold_input(input, length, &fd);
    if (!failed)
        failed = start(p, argv, fd);
    close_end(&fd);
    if (failed) {
        p->pid = 0;
        p->result.try_again = true; /* it may be installed, or memory free, in a minute */
        snprintf(p->result.why, sizeof p->result.why, "cannot run %.120s: %s", argv[0],
                 strerror(failed));
    }
    return p;
}

struct pollfd program_poll(const struct program *p)
{
    return (struct pollfd){p->said, POLLIN, 0};
}

bool program_attend(struct program *p)
{
    int status = 0;
    if (!p->pid)
        return true;
    bool ended = waitpid(p->pid, &status, WNOHANG) == p->pid;
    if (p->said >= 0)
        listen_to(p); /* after the wait: what it said last is there by now */
    if (ended) {
        if (!p->killed)
            judge(p, status);
        end(p);
    } else if (clock_monotonic_ms() >= p->until_ms) {
        time_is_up(p);
    }
    return !p->pid;
}

const struct program_result *program_result(const struct program *p)
{
    return &p->result;
}

void program_free(struct program *p)
{
    if (p && p->pid) {
        kill(-p->pid, SIGKILL);
        waitpid(p->pid, NULL, WNOHANG);
        end(p);
    }
    free(p);
}
