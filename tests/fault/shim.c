/* LD_PRELOAD: the Nth of the calls that put something on disk fails, and the clock of the wall
 * jumps. Counted are those below one folder (write, pwrite, fsync, fdatasync, ftruncate, rename,
 * open and fopen for writing, fclose after it), so that sockets and the log are let alone.
 *
 * SHIM_UNDER: the folder.
 *
 * SHIM_TALLY: a file of SHIM_TALLY_BYTES: the count so far, kept over restarts; by how many seconds
 * the clock is off, for the test to set; then the line that says what failed. The last bytes but
 * eight: the second since 1970 at which the clock stands, for the test to set; 0: it runs.
 *
 * SHIM_FAIL: KIND:FIRST:COUNT; KIND is ENOSPC, EIO, EINTR or SHORT. The last two befall only what
 * may be interrupted: writing and opening. FIRST 0: nothing fails, all is counted.
 *
 * Reads of a database below that folder fail (EIO) as the last eight bytes of SHIM_TALLY say, for
 * the test to set while the daemon runs: N reads go well, and those behind them fail. 0: all go
 * well. What is left of N is written back; once reads fail it is negative. */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

enum { SHIM_TALLY_BYTES = 512 };

struct tally {
    _Atomic uint64_t calls;
    _Atomic int64_t off_s;
    char said[SHIM_TALLY_BYTES - 4 * sizeof(uint64_t)];
    _Atomic int64_t stands_s;
    _Atomic int64_t good_reads;
};

static struct tally *tally;
static const char *under;
static uint64_t first, count;
static int failing_errno; /* 0: written short */

__attribute__((constructor)) static void shim_start(void)
{
    static const struct {
        const char *word;
        int number;
    } KINDS[] = {{"ENOSPC", ENOSPC}, {"EIO", EIO}, {"EINTR", EINTR}, {"SHORT", 0}};
    char kind[16] = "";
    unsigned long long from = 0, many = 0;
    const char *fail = getenv("SHIM_FAIL"), *path = getenv("SHIM_TALLY");
    int fd = path ? open(path, O_RDWR | O_CLOEXEC) : -1;
    under = getenv("SHIM_UNDER");
    if (fd < 0 || !under || !fail || sscanf(fail, "%15[A-Z]:%llu:%llu", kind, &from, &many) != 3)
        return;
    for (size_t i = 0; i < sizeof KINDS / sizeof KINDS[0]; i++)
        failing_errno = strcmp(kind, KINDS[i].word) == 0 ? KINDS[i].number : failing_errno;
    first = from;
    count = many;
    void *at = mmap(NULL, sizeof *tally, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    close(fd);
    tally = at == MAP_FAILED ? NULL : at;
}

static bool is_under(const char *path)
{
    size_t length = strlen(under);
    return strncmp(path, under, length) == 0 && (path[length] == '/' || !path[length]);
}

/* Does this call fail? `may_wait`: it can be interrupted. */
static bool fails(const char *call, const char *path, bool may_wait)
{
    if (!tally || !is_under(path))
        return false;
    uint64_t at = atomic_fetch_add(&tally->calls, 1) + 1;
    bool it = first && at >= first && at < first + count;
    it = it && (may_wait || (failing_errno && failing_errno != EINTR));
    if (it && !tally->said[0])
        snprintf(tally->said, sizeof tally->said, "%s %s", call, path);
    if (it)
        errno = failing_errno;
    return it;
}

static const char *path_of(int fd, char out[4096])
{
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = tally ? readlink(link, out, 4095) : -1;
    out[length > 0 ? length : 0] = '\0';
    return out;
}

static bool fd_fails(const char *call, int fd, bool may_wait)
{
    char path[4096];
    int before = errno;
    path_of(fd, path);
    errno = before;
    return fails(call, path, may_wait);
}

/* ISO C knows no way from an object's address to a function's. */
#define REAL(name) (*(__typeof__(&name) *)(void *[]){dlsym(RTLD_NEXT, #name)})

/* ---- what writes: EINTR and SHORT befall it, too ---- */

ssize_t write(int fd, const void *bytes, size_t length)
{
    if (fd_fails("write", fd, true)) {
        if (failing_errno || length < 2)
            return failing_errno ? -1 : REAL(write)(fd, bytes, length);
        length /= 2;
    }
    return REAL(write)(fd, bytes, length);
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t at)
{
    if (fd_fails("pwrite", fd, true)) {
        if (failing_errno || length < 2)
            return failing_errno ? -1 : REAL(pwrite64)(fd, bytes, length, at);
        length /= 2;
    }
    return REAL(pwrite64)(fd, bytes, length, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t at)
{
    return pwrite64(fd, bytes, length, at);
}

static mode_t mode_of(int flags, va_list more)
{
    return flags & O_CREAT ? (mode_t)va_arg(more, int) : 0;
}

int open64(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    if (flags & O_CREAT && fails("open", path, true) && failing_errno)
        return -1;
    return REAL(open64)(path, flags, mode);
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    return open64(path, flags, mode);
}

/* ---- what reads ---- */

ssize_t pread64(int fd, void *bytes, size_t length, off64_t at)
{
    char path[4096];
    if (tally && atomic_load(&tally->good_reads)) {
        path_of(fd, path);
        if (is_under(path) && strstr(path, ".db")) {
            int64_t left = atomic_load(&tally->good_reads);
            if (left > 1)
                atomic_store(&tally->good_reads, left - 1);
            else
                atomic_store(&tally->good_reads, -1);
            if (left < 0) {
                errno = EIO;
                return -1;
            }
        }
    }
    return REAL(pread64)(fd, bytes, length, at);
}

ssize_t pread(int fd, void *bytes, size_t length, off_t at)
{
    return pread64(fd, bytes, length, at);
}

/* ---- what cannot be interrupted half-way ---- */

int fsync(int fd)
{
    return fd_fails("fsync", fd, false) ? -1 : REAL(fsync)(fd);
}

int fdatasync(int fd)
{
    return fd_fails("fdatasync", fd, false) ? -1 : REAL(fdatasync)(fd);
}

int ftruncate64(int fd, off64_t length)
{
    return fd_fails("ftruncate", fd, false) ? -1 : REAL(ftruncate64)(fd, length);
}

int ftruncate(int fd, off_t length)
{
    return ftruncate64(fd, length);
}

int rename(const char *from, const char *to)
{
    return fails("rename", to, false) ? -1 : REAL(rename)(from, to);
}

/* The C library's streams write by calls of its own: they fail where they begin and where they end.
 */
FILE *fopen(const char *path, const char *mode)
{
    return strpbrk(mode, "wa+") && fails("fopen", path, false) ? NULL : REAL(fopen)(path, mode);
}

FILE *fopen64(const char *path, const char *mode)
{
    return fopen(path, mode);
}

int fclose(FILE *file)
{
    int fd = fileno(file), before = errno;
    bool writes = fd >= 0 && (fcntl(fd, F_GETFL) & O_ACCMODE) != O_RDONLY;
    errno = before;
    bool it = writes && fd_fails("fclose", fd, false);
    int why = errno, rc = REAL(fclose)(file);
    if (it)
        errno = why;
    return it ? EOF : rc;
}

/* ---- the clock of the wall ---- */

/* As the clock is put; true: it stands. */
static bool put(int64_t *ret_s)
{
    int64_t stands_s = tally ? atomic_load(&tally->stands_s) : 0;
    *ret_s = stands_s ? stands_s : *ret_s + (tally ? atomic_load(&tally->off_s) : 0);
    return stands_s != 0;
}

int clock_gettime(clockid_t clock, struct timespec *ret)
{
    int rc = REAL(clock_gettime)(clock, ret);
    if (rc == 0 && clock == CLOCK_REALTIME && put(&ret->tv_sec))
        ret->tv_nsec = 0;
    return rc;
}

int gettimeofday(struct timeval *restrict ret, void *restrict zone)
{
    int rc = REAL(gettimeofday)(ret, zone);
    if (rc == 0 && put(&ret->tv_sec))
        ret->tv_usec = 0;
    return rc;
}

time_t time(time_t *ret)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (ret)
        *ret = now.tv_sec;
    return now.tv_sec;
}
