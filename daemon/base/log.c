#include "base/log.h"
#include "base/hash.h"
#include "base/text.h"
#include "base/write_all.h"
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
    write_all(STDERR_FILENO, text.data,
              text.length); /* if it cannot be, that is no reason to stop */
    text_buffer_free(&text);
    errno = saved;
}

/* Keeps that it is said now, in the place of what was said longest ago. */
static bool is_news(struct log_seldom *seldom, uint64_t text, int64_t now_ms)
{
    enum { AGAIN_MS = 60000 };
    int oldest = 0;
    for (int i = 0; i < LOG_SELDOM_TEXTS; i++) {
        if (seldom->said[i].text == text && now_ms - seldom->said[i].at_ms < AGAIN_MS)
            return false;
        if (seldom->said[i].at_ms < seldom->said[oldest].at_ms)
            oldest = i;
    }
    seldom->said[oldest].text = text;
    seldom->said[oldest].at_ms = now_ms;
    return true;
}

void log_seldom(const struct log *log, struct log_seldom *seldom, int64_t now_ms,
                const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    if (is_news(seldom, hash_text(text.data), now_ms))
        log_write(log, LOG_LEVEL_ERROR, "%s", text.data);
    text_buffer_free(&text);
}
