/* Log lines to stderr: "message key=value …", with journal priority prefixes when stderr is the
 * journal. Only main, serve and notify log; other layers return errors. No personal data, ever. */
#ifndef ODDLOAF_BASE_LOG_H
#define ODDLOAF_BASE_LOG_H

#include <stdbool.h>

enum log_level {
    LOG_LEVEL_ERROR = 3,
    LOG_LEVEL_WARNING = 4,
    LOG_LEVEL_INFO = 6,
    LOG_LEVEL_DEBUG = 7
};

struct log {
    enum log_level level;
    bool journal; /* write <N> prefixes */
};

/* Thread-safe: one write(2) a line; control characters of the text are replaced. */
void log_write(const struct log *log, enum log_level level, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
