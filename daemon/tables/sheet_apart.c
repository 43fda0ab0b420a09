#include "tables/sheet_apart.h"
#include "base/text.h"
#include "base/write_all.h"
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#define NAME_OF_IT "oddloaf-sheet"
/* A million rows of ten columns take some five seconds. Whoever waits cannot do anything else, not
 * even stop, so nothing may come for no longer than a stop may take. */
enum { WAIT_MS = 20000, CPU_S = 20, MEMORY_MIB = 1024, REFUSED = 3, SAID = 600 };

/* ---- the process apart ---- */

bool sheet_apart_asked(char *const argv[])
{
    return argv[0] && strcmp(argv[0], NAME_OF_IT) == 0;
}

static bool limit(__rlimit_resource_t what, rlim_t most)
{
    const struct rlimit row = {most, most};
    return prlimit(0, what, &row, NULL) == 0; /* setrlimit() itself is filtered in services */
}

/* No file, no socket, no program from here on, and no life after who asked. */
static bool give_up_all(void)
{
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
    if (!limit(RLIMIT_AS, (rlim_t)MEMORY_MIB << 20))
        return false;
#endif
    return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
           prctl(PR_SET_PDEATHSIG, SIGKILL, 0, 0, 0) == 0 && limit(RLIMIT_CPU, CPU_S) &&
           limit(RLIMIT_CORE, 0) && limit(RLIMIT_FSIZE, 0) && limit(RLIMIT_NPROC, 0) &&
           limit(RLIMIT_NOFILE, 3);
}

static int put(void *arg, const char *bytes, size_t length)
{
    (void)arg;
    return write_all(STDOUT_FILENO, bytes, length) ? ERROR_IO : 0;
}

static int read_all(struct text_buffer *file, struct error *err)
{
    char *chunk = xmalloc(1 << 16);
    int rc = 0;
    for (;;) {
        ssize_t n = read(STDIN_FILENO, chunk, 1 << 16);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            rc = error_set(err, ERROR_IO, "cannot be read: %s", strerror(errno));
        if (n <= 0)
            break;
        text_append_bytes(file, chunk, (size_t)n);
        if (file->length > SHEET_BYTES) {
            rc = error_set(err, ERROR_TOO_LARGE, "is larger than %zu MiB", SHEET_BYTES >> 20);
            break;
        }
    }
    free(chunk);
    return rc;
}

static int run(char *const argv[])
{
    struct error err = {0};
    struct text_buffer file = {0};
    char said[SAID];
    bool named = argv[1] && argv[2] && *argv[2];
    const struct sheet_options options = {.name = named ? argv[2] : NULL,
                                          .decimal = argv[1] ? *argv[1] : '.'};
    int rc = give_up_all() ? read_all(&file, &err)
                           : error_set(&err, ERROR_IO, "no process apart: %s", strerror(errno));
    if (!rc)
        rc = sheet_read(file.data ? file.data : "", file.length, &options, put, NULL, &err);
    text_buffer_free(&file);
    if (!rc)
        return 0;
    int length = snprintf(said, sizeof said, "%d\n%s\n%s\n", rc, err.text, err.hint);
    return write(STDERR_FILENO, said, (size_t)length) == length ? REFUSED : 1;
}

/* What a program does at its end (a sanitizer looks for leaks) would need what was given up. */
void sheet_apart_main(char *const argv[])
{
    _exit(run(argv));
}

/* ---- who asks ---- */

struct sheet_apart {
    pid_t pid; /* 0: has ended */
    int out, said;
};

static int spawn(int fd, char *const argv[], const int out[2], const int said[2], pid_t *ret)
{
    char *const environment[] = {(char[]){"LANG=C.UTF-8"}, NULL};
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t none, all;
    sigemptyset(&none);
    sigfillset(&all);
    posix_spawn_file_actions_init(&files);
    posix_spawnattr_init(&attributes);
    posix_spawn_file_actions_adddup2(&files, fd, 0);
    posix_spawn_file_actions_adddup2(&files, out[1], 1);
    posix_spawn_file_actions_adddup2(&files, said[1], 2);
    posix_spawn_file_actions_addclosefrom_np(&files, 3);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
    posix_spawnattr_setsigmask(&attributes, &none);
    posix_spawnattr_setsigdefault(&attributes, &all);
    int failed = posix_spawn(ret, "/proc/self/exe", &files, &attributes, argv, environment);
    posix_spawn_file_actions_destroy(&files);
    posix_spawnattr_destroy(&attributes);
    return failed;
}

int sheet_apart_start(int fd, const struct sheet_options *options, struct sheet_apart **ret,
                      struct error *err)
{
    int out[2] = {-1, -1}, said[2] = {-1, -1};
    char program[] = NAME_OF_IT, decimal[] = {options->decimal, '\0'};
    char *name = xstrdup(options->name ? options->name : "");
    char *const argv[] = {program, decimal, name, NULL};
    struct sheet_apart *a = xcalloc(1, sizeof *a);
    int failed = pipe2(out, O_CLOEXEC) || pipe2(said, O_CLOEXEC) ? errno : 0;
    if (!failed && lseek(fd, 0, SEEK_SET) < 0)
        failed = errno;
    if (!failed)
        failed = spawn(fd, argv, out, said, &a->pid);
    free(name);
    if (out[1] >= 0)
        close(out[1]);
    if (said[1] >= 0)
        close(said[1]);
    a->out = out[0];
    a->said = said[0];
    if (failed) {
        a->pid = 0;
        sheet_apart_free(a);
        return error_set(err, ERROR_IO, "cannot read the sheet in a process of its own: %s",
                         strerror(failed));
    }
    *ret = a;
    return 0;
}

/* "CODE\nTEXT\nHINT\n" of the process, or what ended it. */
static int told(struct sheet_apart *a, int status, struct error *err)
{
    char said[SAID + 1] = "";
    ssize_t n = read(a->said, said, SAID);
    said[n > 0 ? n : 0] = '\0';
    char *text = strchr(said, '\n'), *hint = text ? strchr(text + 1, '\n') : NULL;
    if (WIFEXITED(status) && WEXITSTATUS(status) == 0)
        return 0;
    if (!WIFEXITED(status) || WEXITSTATUS(status) != REFUSED || !hint)
        return error_set(err, ERROR_INVALID,
                         WIFSIGNALED(status) && WTERMSIG(status) == SIGXCPU
                             ? "takes too long to read"
                             : "cannot be read: whatever reads it ended");
    *text = *hint = '\0';
    hint[1 + strcspn(hint + 1, "\n")] = '\0';
    int code = atoi(said);
    if (hint[1])
        error_hint(err, "%s", hint + 1);
    return error_set(err, code < 0 ? (enum error_code)code : ERROR_INVALID, "%s", text + 1);
}

int sheet_apart_read(struct sheet_apart *a, char *buffer, size_t size, size_t *ret_length,
                     struct error *err)
{
    struct pollfd ready = {.fd = a->out, .events = POLLIN};
    ssize_t n;
    int status = 0;
    *ret_length = 0;
    if (!a->pid)
        return 0;
    do {
        int polled = poll(&ready, 1, WAIT_MS);
        if (polled == 0)
            return error_set(err, ERROR_INVALID, "takes too long to read");
        n = read(a->out, buffer, size);
    } while (n < 0 && errno == EINTR);
    if (n < 0)
        return error_set(err, ERROR_IO, "cannot be read: %s", strerror(errno));
    if (n > 0) {
        *ret_length = (size_t)n;
        return 0;
    }
    while (waitpid(a->pid, &status, 0) < 0 && errno == EINTR)
        continue;
    a->pid = 0;
    return told(a, status, err);
}

void sheet_apart_free(struct sheet_apart *a)
{
    if (!a)
        return;
    if (a->pid) {
        kill(a->pid, SIGKILL);
        while (waitpid(a->pid, NULL, 0) < 0 && errno == EINTR)
            continue;
    }
    if (a->out >= 0)
        close(a->out);
    if (a->said >= 0)
        close(a->said);
    free(a);
}
