#include "records/refusals.h"
#include "base/jsonx.h"
#include "base/text.h"
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Of the first ones, as text. */
enum { FIRST_BYTES = 256 << 10 };

struct refusals {
    char *path;
    FILE *file; /* open while a part has more than fit */
    json_t *first;
    size_t first_bytes;
    int64_t more;
    bool taken; /* what is here belongs to a part before */
    struct error err;
};

struct refusals *refusals_new(const char *path)
{
    struct refusals *r = xcalloc(1, sizeof *r);
    r->path = xstrdup(path);
    r->first = json_array();
    return r;
}

void refusals_free(struct refusals *r)
{
    if (!r)
        return;
    if (r->file)
        fclose(r->file);
    json_decref(r->first);
    free(r->path);
    free(r);
}

static void begin(struct refusals *r)
{
    json_decref(r->first);
    r->first = json_array();
    r->first_bytes = 0;
    r->more = 0;
    r->taken = false;
}

static void fail(struct refusals *r)
{
    bool full = errno == ENOSPC || errno == EDQUOT;
    error_set(&r->err, full ? ERROR_NO_SPACE : ERROR_IO, "cannot write %s: %s", r->path,
              strerror(errno));
    if (full)
        error_hint(&r->err, "free space on the disk of the state directory, then try again");
}

static void add_more(struct refusals *r, const char *line)
{
    if (!r->file && !r->err.code && !(r->file = fopen(r->path, "we")))
        fail(r);
    if (r->file && fprintf(r->file, "%s\n", line) < 0)
        fail(r);
    r->more++;
}

void refusals_add(struct refusals *r, const struct error *why)
{
    if (r->taken)
        begin(r);
    json_t *one =
        json_pack("{s:s, s:I, s:s, s:s, s:s}", "source", why->source, "line", (json_int_t)why->line,
                  "column", why->field, "value", why->value, "reason", why->text);
    char *line = jsonx_dump(one);
    size_t length = strlen(line);
    bool fits = r->more == 0 && json_array_size(r->first) < REFUSALS_FIRST &&
                r->first_bytes + length <= FIRST_BYTES;
    if (fits) {
        json_array_append(r->first, one);
        r->first_bytes += length;
    } else {
        add_more(r, line);
    }
    free(line);
    json_decref(one);
}

int refusals_take(struct refusals *r, json_t **ret_first, int64_t *ret_more, struct error *err)
{
    if (r->taken)
        begin(r);
    if (r->file && fclose(r->file) != 0)
        fail(r);
    r->file = NULL;
    r->taken = true;
    if (r->err.code) {
        if (err && !err->code)
            *err = r->err;
        return (int)r->err.code;
    }
    *ret_first = json_incref(r->first);
    *ret_more = r->more;
    return 0;
}

int refusals_page(const char *path, int64_t from, char **ret_lines, size_t *ret_length,
                  struct error *err)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0 && errno == ENOENT)
        return error_set(err, ERROR_NOT_FOUND, "no refused rows of this load are kept");
    if (fd < 0)
        return error_set(err, ERROR_IO, "cannot read %s: %s", path, strerror(errno));
    char *lines = xmalloc(REFUSALS_PAGE);
    ssize_t length = pread(fd, lines, REFUSALS_PAGE, (off_t)from);
    int failed = errno;
    close(fd);
    if (length < 0) {
        free(lines);
        return error_set(err, ERROR_IO, "cannot read %s: %s", path, strerror(failed));
    }
    const char *end = memrchr(lines, '\n', (size_t)length);
    *ret_length = end ? (size_t)(end - lines) + 1 : 0;
    *ret_lines = lines;
    return 0;
}
