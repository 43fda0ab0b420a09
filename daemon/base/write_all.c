#include "base/write_all.h"
#include <errno.h>
#include <unistd.h>

int write_all(int fd, const void *bytes, size_t length)
{
    for (const char *at = bytes; length > 0;) {
        ssize_t n = write(fd, at, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n == 0)
            errno = EIO; /* or it would never end */
        if (n <= 0)
            return -1;
        at += n;
        length -= (size_t)n;
    }
    return 0;
}
