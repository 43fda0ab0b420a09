/* Linked in place of what opens a descriptor unseen by the thread sanitizer (--wrap,
 * CMakeLists.txt).
 *
 * The sanitizer forgets what was done with a descriptor's number at the call that opens it anew, if
 * it knows that call. opendir and openat it does not know: what libevent did with the number
 * before, in another thread, looked like a race with closing the folder. open it does know. */
#include <dirent.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>

DIR *__wrap_opendir(const char *path);
int __wrap_openat(int folder, const char *name, int flags, ...);

DIR *__wrap_opendir(const char *path)
{
    int fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    return fd < 0 ? NULL : fdopendir(fd);
}

int __wrap_openat(int folder, const char *name, int flags, ...)
{
    char path[PATH_MAX];
    va_list more;
    va_start(more, flags);
    mode_t mode = flags & O_CREAT ? va_arg(more, mode_t) : 0;
    va_end(more);
    snprintf(path, sizeof path, "/proc/self/fd/%d/%s", folder, name);
    return open(folder == AT_FDCWD || *name == '/' ? name : path, flags, mode);
}
