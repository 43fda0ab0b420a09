#include "base/log.h"
#include "base/text.h"
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <unistd.h>

static const char *level_word(enum log_level level)
{
    switch (level) {
    case LOG_LEVEL_ERROR:
        return "error: ";
    case LOG_LEVEL_WARNING:
        return "warning: ";
    case LOG_LEVEL_DEBUG:
        return "debug: ";
    case LOG_LEVEL_INFO:
        break;
    }
    return "";
}

/* A log that cannot be written must not stop the daemon: failures end the line, no more. */
static void write_all(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t n = write(fd, bytes, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return;
        bytes += n;
        length -= (size_t)n;
    }
}

void log_write(const struct log *log, enum log_level level, const char *format, ...)
{
    if (!log || level > log->level)
        return;
    int saved = errno;
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);

    char clean[2048];
    text_clip(text.data, clean, sizeof clean);
    text_reset(&text);
    if (log->journal)
        text_appendf(&text, "<%d>", (int)level);
    else
        text_append(&text, level_word(level));
    text_append(&text, clean);
    text_append(&text, "\n");
    write_all(STDERR_FILENO, text.data, text.length);
    text_buffer_free(&text);
    errno = saved;
}
