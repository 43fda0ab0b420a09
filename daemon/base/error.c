#include "base/error.h"
#include "base/text.h"
#include <assert.h>
#include <stdarg.h>
#include <string.h>

/* Formats into a fixed field, cut at a character, control characters replaced. */
static void fill(char *field, size_t size, const char *format, va_list args)
    __attribute__((format(printf, 3, 0)));

static void fill(char *field, size_t size, const char *format, va_list args)
{
    struct text_buffer raw = {0};
    text_vappendf(&raw, format, args);
    text_clip(raw.data, field, size);
    text_buffer_free(&raw);
}

bool error_is_ours(enum error_code code)
{
    switch (code) {
    case ERROR_BUSY:
    case ERROR_NO_SPACE:
    case ERROR_IO:
    case ERROR_MEMORY:
    case ERROR_INTERNAL:
    case ERROR_UNREACHABLE:
    case ERROR_LOST:
        return true;
    default:
        return false;
    }
}

int error_set(struct error *err, enum error_code code, const char *format, ...)
{
    assert(code < ERROR_NONE);
    if (err && err->code == ERROR_NONE) {
        va_list args;
        va_start(args, format);
        fill(err->text, sizeof err->text, format, args);
        va_end(args);
        err->code = code;
    }
    return code;
}

void error_at(struct error *err, const char *source, long line, long column)
{
    if (!err)
        return;
    if (source)
        text_clip(source, err->source, sizeof err->source);
    if (line > 0)
        err->line = line;
    if (column > 0)
        err->column = column;
}

void error_field(struct error *err, const char *field, const char *value)
{
    if (!err)
        return;
    if (field)
        text_clip(field, err->field, sizeof err->field);
    if (value)
        text_clip(value, err->value, sizeof err->value);
}

void error_hint(struct error *err, const char *format, ...)
{
    if (!err)
        return;
    va_list args;
    va_start(args, format);
    fill(err->hint, sizeof err->hint, format, args);
    va_end(args);
}

void error_clear(struct error *err)
{
    if (err)
        memset(err, 0, sizeof *err);
}

const char *error_word(enum error_code code)
{
    static const char *const words[] = {
        [-ERROR_NONE] = "none",
        [-ERROR_INVALID] = "invalid",
        [-ERROR_NOT_FOUND] = "not-found",
        [-ERROR_DENIED] = "denied",
        [-ERROR_CONFLICT] = "conflict",
        [-ERROR_TOO_LARGE] = "too-large",
        [-ERROR_BUSY] = "busy",
        [-ERROR_NO_SPACE] = "no-space",
        [-ERROR_IO] = "io",
        [-ERROR_MEMORY] = "memory",
        [-ERROR_INTERNAL] = "internal",
        [-ERROR_UNREACHABLE] = "unreachable",
        [-ERROR_LOST] = "lost",
    };
    int index = -(int)code;
    if (index < 0 || index >= (int)(sizeof words / sizeof *words))
        return "internal";
    return words[index];
}

char *error_format(const struct error *err, char *buffer, size_t size)
{
    assert(buffer && size > 0);
    struct text_buffer line = {0};
    if (err->source[0]) {
        text_append(&line, err->source);
        if (err->line > 0)
            text_appendf(&line, ":%ld", err->line);
        if (err->line > 0 && err->column > 0)
            text_appendf(&line, ":%ld", err->column);
        text_append(&line, ": ");
    } else if (err->line > 0) {
        text_appendf(&line, "line %ld", err->line);
        if (err->column > 0)
            text_appendf(&line, ", column %ld", err->column);
        text_append(&line, ": ");
    }
    if (err->field[0] && err->value[0])
        text_appendf(&line, "%s '%s': ", err->field, err->value);
    else if (err->field[0])
        text_appendf(&line, "%s: ", err->field);
    else if (err->value[0])
        text_appendf(&line, "'%s': ", err->value);
    text_append(&line, err->text[0] ? err->text : error_word(err->code));
    if (err->hint[0])
        text_appendf(&line, " (%s)", err->hint);
    text_clip(line.data, buffer, size);
    text_buffer_free(&line);
    return buffer;
}
