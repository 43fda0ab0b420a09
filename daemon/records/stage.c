#include "records/stage.h"
#include "base/sync_path.h"
#include "base/text.h"
#include "base/write_all.h"
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char MAGIC[] = "oddloaf rows 1\n";
enum { MAGIC_BYTES = sizeof MAGIC - 1, WRITE_BYTES = 1 << 16 };

struct head {
    uint32_t length, line, back;
    uint8_t flags, zero[3];
};

static int fail(struct error *err, const char *doing, const char *path)
{
    enum error_code code = errno == ENOSPC || errno == EDQUOT ? ERROR_NO_SPACE : ERROR_IO;
    error_set(err, code, "cannot %s %s: %s", doing, path, strerror(errno));
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the state directory, then try again");
    return code;
}

/* ---- writing ---- */

struct stage {
    int fd, columns;
    char *path;
    uint64_t end, first; /* where the next record goes; where its source row began */
    struct text_buffer buffer;
    struct text_buffer record;
};

int stage_new(const char *path, int columns, struct stage **ret, struct error *err)
{
    int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0)
        return fail(err, "create", path);
    struct stage *s = xcalloc(1, sizeof *s);
    s->fd = fd;
    s->columns = columns;
    s->path = xstrdup(path);
    s->end = MAGIC_BYTES;
    text_append_bytes(&s->buffer, MAGIC, MAGIC_BYTES);
    *ret = s;
    return 0;
}

void stage_free(struct stage *s)
{
    if (!s)
        return;
    close(s->fd);
    free(s->path);
    text_buffer_free(&s->buffer);
    text_buffer_free(&s->record);
    free(s);
}

static char *put(char *out, const void *bytes, size_t length)
{
    memcpy(out, bytes, length);
    return out + length;
}

static char *put_cell(char *out, const struct record_cell *cell)
{
    *out++ = (char)cell->form;
    switch (cell->form) {
    case RECORD_INTEGER:
        return put(out, &cell->integer, sizeof cell->integer);
    case RECORD_NUMBER:
        return put(out, &cell->number, sizeof cell->number);
    case RECORD_TEXT: {
        uint16_t length = (uint16_t)cell->length;
        out = put(out, &length, sizeof length);
        out = put(out, cell->text, length);
        *out++ = '\0';
        return out;
    }
    case RECORD_NOTHING:
        break;
    }
    return out;
}

static size_t bytes_at_most(const struct stage *s, const struct record_cell *cells)
{
    size_t bytes = sizeof(struct head);
    for (int i = 0; i < s->columns; i++)
        bytes += 16 + (cells[i].form == RECORD_TEXT ? cells[i].length : 0);
    return bytes;
}

int stage_flush(struct stage *s, struct error *err)
{
    if (write_all(s->fd, s->buffer.data, s->buffer.length))
        return fail(err, "write", s->path);
    text_reset(&s->buffer);
    return 0;
}

int stage_append(struct stage *s, bool first, long line, const struct record_cell *cells,
                 uint64_t *ret_offset, struct error *err)
{
    size_t room = bytes_at_most(s, cells);
    if (s->record.capacity <= room) {
        text_reset(&s->record);
        while (s->record.capacity <= room)
            text_append(&s->record, "                                                ");
    }
    if (first)
        s->first = s->end;
    char *start = s->record.data, *out = start + sizeof(struct head);
    for (int i = 0; i < s->columns; i++)
        out = put_cell(out, &cells[i]);
    struct head head = {.length = (uint32_t)(out - start),
                        .line = (uint32_t)line,
                        .back = (uint32_t)(s->end - s->first),
                        .flags = first ? STAGE_FIRST : 0};
    memcpy(start, &head, sizeof head);
    text_append_bytes(&s->buffer, start, head.length);
    *ret_offset = s->end;
    s->end += head.length;
    return s->buffer.length >= WRITE_BYTES ? stage_flush(s, err) : 0;
}

static int read_head(struct stage *s, uint64_t offset, struct head *ret, struct error *err)
{
    ssize_t n = pread(s->fd, ret, sizeof *ret, (off_t)offset);
    if (n != (ssize_t)sizeof *ret) {
        errno = n < 0 ? errno : EIO;
        return fail(err, "read", s->path);
    }
    return 0;
}

int stage_drop(struct stage *s, uint64_t offset, bool *ret_dropped, struct error *err)
{
    struct head head;
    int rc = read_head(s, offset, &head, err);
    if (rc)
        return rc;
    uint64_t at = offset - head.back;
    bool first = true;
    *ret_dropped = !(head.flags & STAGE_DROPPED);
    while (at < s->end) {
        if ((rc = read_head(s, at, &head, err)))
            return rc;
        if (!first && (head.flags & STAGE_FIRST))
            break;
        head.flags |= STAGE_DROPPED;
        if (pwrite(s->fd, &head, sizeof head, (off_t)at) != (ssize_t)sizeof head)
            return fail(err, "write", s->path);
        at += head.length;
        first = false;
    }
    return 0;
}

int stage_sync(struct stage *s, struct error *err)
{
    int rc = stage_flush(s, err);
    if (!rc && fsync(s->fd))
        rc = fail(err, "sync", s->path);
    if (!rc && sync_path_folder_of(s->path))
        rc = fail(err, "sync the folder of", s->path);
    return rc;
}

/* ---- reading ---- */

struct stage_reader {
    int fd, columns;
    char *path;
    uint64_t base, at; /* file offset of the window; of the next record */
    size_t length;     /* bytes in the window */
    struct text_buffer window;
};

int stage_reader_new(const char *path, int columns, enum stage_reach reach,
                     struct stage_reader **ret, struct error *err)
{
    char magic[MAGIC_BYTES];
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0 && errno == ENOENT)
        return error_set(err, ERROR_INTERNAL, "%s is gone", path);
    if (fd < 0)
        return fail(err, "open", path);
    if (pread(fd, magic, sizeof magic, 0) != (ssize_t)sizeof magic ||
        memcmp(magic, MAGIC, MAGIC_BYTES) != 0) {
        close(fd);
        return error_set(err, ERROR_INTERNAL, "%s is not a file of staged rows", path);
    }
    struct stage_reader *r = xcalloc(1, sizeof *r);
    r->fd = fd;
    r->columns = columns;
    r->path = xstrdup(path);
    r->window.data = xmalloc(reach);
    r->window.capacity = reach;
    stage_seek(r, 0);
    *ret = r;
    return 0;
}

void stage_reader_free(struct stage_reader *r)
{
    if (!r)
        return;
    close(r->fd);
    free(r->path);
    text_buffer_free(&r->window);
    free(r);
}

void stage_seek(struct stage_reader *r, uint64_t offset)
{
    r->at = offset ? offset : MAGIC_BYTES;
}

uint64_t stage_tell(const struct stage_reader *r)
{
    return r->at;
}

/* Makes `need` bytes at r->at available; *ret_have may be less at the end of the file. */
static int fill(struct stage_reader *r, size_t need, size_t *ret_have, struct error *err)
{
    if (r->at < r->base || r->at + need > r->base + r->length) {
        r->base = r->at;
        r->length = 0;
        while (r->length < r->window.capacity) {
            ssize_t n = pread(r->fd, r->window.data + r->length, r->window.capacity - r->length,
                              (off_t)(r->base + r->length));
            if (n < 0 && errno == EINTR)
                continue;
            if (n < 0)
                return fail(err, "read", r->path);
            if (n == 0)
                break;
            r->length += (size_t)n;
        }
    }
    *ret_have = (size_t)(r->base + r->length - r->at);
    return 0;
}

static const char *get(const char *in, void *out, size_t length)
{
    memcpy(out, in, length);
    return in + length;
}

/* NULL if the record ends in the middle of the cell. */
static const char *get_cell(const char *in, const char *end, struct record_cell *ret)
{
    uint16_t length;
    ret->form = (enum record_form) * in++;
    switch (ret->form) {
    case RECORD_INTEGER:
        return end - in < 8 ? NULL : get(in, &ret->integer, 8);
    case RECORD_NUMBER:
        return end - in < 8 ? NULL : get(in, &ret->number, 8);
    case RECORD_TEXT:
        if (end - in < 3)
            return NULL;
        in = get(in, &length, sizeof length);
        ret->length = length;
        ret->text = in;
        return end - in < (ptrdiff_t)length + 1 || in[length] != '\0' ? NULL : in + length + 1;
    case RECORD_NOTHING:
        return in;
    }
    return NULL;
}

static int damaged(struct stage_reader *r, struct error *err)
{
    return error_set(err, ERROR_INTERNAL, "%s is damaged at byte %llu", r->path,
                     (unsigned long long)r->at);
}

int stage_next(struct stage_reader *r, struct stage_row *ret, struct error *err)
{
    struct head head;
    size_t have;
    int rc = fill(r, sizeof head, &have, err);
    if (rc || have == 0)
        return rc;
    if (have < sizeof head)
        return damaged(r, err);
    memcpy(&head, r->window.data + (r->at - r->base), sizeof head);
    if (head.length < sizeof head || head.length > r->window.capacity)
        return damaged(r, err);
    rc = fill(r, head.length, &have, err);
    if (rc)
        return rc;
    if (have < head.length)
        return damaged(r, err);
    const char *in = r->window.data + (r->at - r->base), *end = in + head.length;
    in += sizeof head;
    for (int i = 0; i < r->columns; i++) {
        ret->cells[i] = (struct record_cell){.form = RECORD_NOTHING};
        if (in == end) /* accepted by a version that did not have the columns behind it */
            continue;
        if (in > end || !(in = get_cell(in, end, &ret->cells[i])))
            return damaged(r, err);
    }
    ret->offset = r->at;
    ret->line = (long)head.line;
    ret->flags = head.flags;
    r->at += head.length;
    return 1;
}
