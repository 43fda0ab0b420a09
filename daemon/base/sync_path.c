#include "base/sync_path.h"
#include "base/text.h"
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int sync_path(const char *path)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return -1;
    int rc = fsync(fd), why = errno;
    close(fd);
    errno = why;
    return rc;
}

int sync_path_folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    char *folder = !slash          ? xstrdup(".")
                   : slash == path ? xstrdup("/")
                                   : xstrndup(path, (size_t)(slash - path));
    int rc = sync_path(folder), why = errno;
    free(folder);
    errno = why;
    return rc;
}
