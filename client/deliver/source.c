#include "deliver/source.h"
#include "base/text.h"
#include "tables/sheet_apart.h"
#include "tables/text_kind.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define HEAD 4096

struct source {
    FILE *file;
    struct sheet_apart *sheet; /* or NULL */
    char *name;
    char head[HEAD];
    size_t head_at, head_length;
};

static int fail(const struct source *s, struct error *err)
{
    error_at(err, s->name, 0, 0);
    return error_set(err, ERROR_IO, "cannot read: %s", strerror(errno));
}

static int open_sheet(struct source *s, const struct sheet_options *sheet, struct error *err)
{
    if (s->file == stdin) {
        error_hint(err, "name its file");
        return error_set(err, ERROR_INVALID, "a sheet cannot be read from standard input");
    }
    s->head_at = s->head_length = 0;
    return sheet_apart_start(fileno(s->file), sheet, &s->sheet, err);
}

/* A name is bytes; the daemon is told text. malloc'd. */
static char *text_of(const char *name)
{
    size_t size = strlen(name) + 1;
    char *text = xmalloc(size);
    return text_clip(name, text, size);
}

int source_open(const char *path, struct source **ret, struct error *err)
{
    const struct sheet_options first = {.decimal = '.'};
    return source_open_sheet(path, &first, ret, err);
}

int source_open_sheet(const char *path, const struct sheet_options *sheet, struct source **ret,
                      struct error *err)
{
    bool standard = strcmp(path, "-") == 0;
    FILE *file = standard ? stdin : fopen(path, "rbe");
    if (!file) {
        error_at(err, path, 0, 0);
        return error_set(err, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "cannot open: %s",
                         strerror(errno));
    }
    struct source *s = xcalloc(1, sizeof *s);
    const char *slash = strrchr(path, '/');
    s->file = file;
    s->name = text_of(standard ? "stdin" : slash ? slash + 1 : path);
    s->head_length = fread(s->head, 1, HEAD, file);
    if (ferror(file)) {
        int rc = fail(s, err);
        source_close(s);
        return rc;
    }
    int rc = 0;
    if (sheet_begins(s->head, s->head_length))
        rc = open_sheet(s, sheet, err);
    else
        rc = text_kind_check(s->head, s->head_length, err);
    if (rc) {
        error_at(err, s->name, 0, 0);
        source_close(s);
        return rc;
    }
    if (s->head_length >= 3 && memcmp(s->head, "\xEF\xBB\xBF", 3) == 0)
        s->head_at = 3;
    *ret = s;
    return 0;
}

void source_close(struct source *s)
{
    if (!s)
        return;
    sheet_apart_free(s->sheet);
    if (s->file != stdin)
        fclose(s->file);
    free(s->name);
    free(s);
}

const char *source_name(const struct source *s)
{
    return s->name;
}

int64_t source_size(const struct source *s)
{
    struct stat st;
    if (s->sheet || fstat(fileno(s->file), &st) != 0 || !S_ISREG(st.st_mode))
        return 0;
    return st.st_size;
}

static bool ends_with(const char *name, const char *end)
{
    size_t n = strlen(name);
    size_t m = strlen(end);
    return n > m && text_equal_fold(name + n - m, end);
}

bool source_is_sheet(const struct source *s)
{
    return s->sheet != NULL;
}

bool source_is_ndjson(const struct source *s)
{
    if (s->sheet)
        return false;
    if (ends_with(s->name, ".ndjson") || ends_with(s->name, ".jsonl") ||
        ends_with(s->name, ".json"))
        return true;
    if (ends_with(s->name, ".csv"))
        return false;
    for (size_t i = s->head_at; i < s->head_length; i++)
        if (!strchr(" \t\r\n", s->head[i]))
            return s->head[i] == '{';
    return false;
}

int source_read(struct source *s, char *buffer, size_t size, size_t *ret_length, struct error *err)
{
    if (s->sheet && sheet_apart_read(s->sheet, buffer, size, ret_length, err)) {
        error_at(err, s->name, 0, 0);
        return (int)err->code;
    }
    if (s->sheet)
        return 0;
    size_t length = s->head_length - s->head_at;
    if (length > size)
        length = size;
    memcpy(buffer, s->head + s->head_at, length);
    s->head_at += length;
    if (length < size)
        length += fread(buffer + length, 1, size - length, s->file);
    if (ferror(s->file))
        return fail(s, err);
    *ret_length = length;
    return 0;
}

void source_read_apart(char *const argv[])
{
    if (sheet_apart_asked(argv))
        sheet_apart_main(argv);
}
