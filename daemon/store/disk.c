#include "store/disk.h"
#include "base/sync_path.h"
#include "base/text.h"
#include "base/when.h"
#include "base/write_all.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int say_unsynced(const char *what, const char *path, struct error *err)
{
    return error_set(err, ERROR_IO, "cannot sync %s%s: %s", what, path, strerror(errno));
}

int disk_sync(const char *path, struct error *err)
{
    return sync_path(path) ? say_unsynced("", path, err) : 0;
}

int disk_sync_folder_of(const char *path, struct error *err)
{
    return sync_path_folder_of(path) ? say_unsynced("the folder of ", path, err) : 0;
}

static int say_stopped(const char *doing, const char *path, struct error *err)
{
    int why = errno;
    return error_set(err, why == ENOSPC || why == EDQUOT ? ERROR_NO_SPACE : ERROR_IO,
                     "cannot %s %s: %s", doing, path, strerror(why));
}

static int copy_bytes(int from, int to, const char *from_path, const char *to_path,
                      struct error *err)
{
    enum { PIECE = 1 << 18 };
    char *buffer = xmalloc(PIECE);
    int rc = 0;
    ssize_t have = 1;
    while (!rc && (have = read(from, buffer, PIECE)) > 0) {
        if (write_all(to, buffer, (size_t)have))
            rc = say_stopped("write", to_path, err);
    }
    if (!rc && have < 0)
        rc = say_stopped("read", from_path, err);
    if (!rc && fsync(to))
        rc = say_stopped("sync", to_path, err);
    free(buffer);
    return rc;
}

int disk_copy(const char *from, const char *to, struct error *err)
{
    int in = open(from, O_RDONLY | O_CLOEXEC);
    if (in < 0)
        return say_stopped("read", from, err);
    int out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    int rc = out < 0 ? say_stopped("write", to, err) : copy_bytes(in, out, from, to, err);
    close(in);
    if (out >= 0)
        close(out);
    return rc;
}

char *disk_stamp(int64_t at_ms, char out[static DISK_STAMP])
{
    char text[32];
    size_t length = 0;
    when_format_utc(at_ms, text);
    for (const char *p = text; *p && *p != '.' && length < DISK_STAMP - 2; p++) {
        if (*p != '-' && *p != ':')
            out[length++] = *p;
    }
    out[length++] = 'Z';
    out[length] = '\0';
    return out;
}
