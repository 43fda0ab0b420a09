#include "commands/attached_file.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void attached_file_path(const char *folder, int64_t id, struct text_buffer *ret)
{
    text_appendf(ret, "%sattachments/%lld", folder, (long long)id);
}

static int say_stopped(const struct client *c, const char *path)
{
    struct error err = {0};
    error_set(&err, ERROR_INVALID, "cannot write %s: %s", path, strerror(errno));
    client_fail(c, &err);
    return EXIT_REFUSED;
}

static int write_new(const struct client *c, const struct text_buffer *bytes, const char *path)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        return say_stopped(c, path);
    FILE *file = fdopen(fd, "wb");
    bool whole = file && (bytes->length == 0 ||
                          fwrite(bytes->data, 1, bytes->length, file) == bytes->length);
    whole = whole && fflush(file) == 0 && fsync(fd) == 0;
    if (file ? fclose(file) : close(fd))
        whole = false;
    if (whole)
        return EXIT_DONE;
    int rc = say_stopped(c, path);
    unlink(path);
    return rc;
}

int attached_file_fetch(const struct client *c, int64_t id, const char *path)
{
    struct error err = {0};
    struct reply reply = {0};
    struct text_buffer address = {0};
    text_appendf(&address, "/v1/attachments/%lld", (long long)id);
    const struct request request = {.method = "GET", .path = address.data, .timeout_s = 300};
    int rc = EXIT_DONE;
    if (transport_call(c->transport, &request, &reply, &err))
        rc = client_fail(c, &err);
    else if (!transport_is_good(&reply))
        rc = client_problem(c, &reply);
    else
        rc = write_new(c, &reply.body, path);
    transport_reply_free(&reply);
    text_buffer_free(&address);
    return rc;
}
