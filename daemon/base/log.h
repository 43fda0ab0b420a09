/* Log lines to stderr: "message key=value …", with journal priority prefixes when stderr is the
 * journal. Only main, serve and notify log; other layers return errors. No personal data, ever. */
#ifndef ODDLOAF_BASE_LOG_H
#define ODDLOAF_BASE_LOG_H

#include <stdbool.h>
#include <stdint.h>

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

/* What a work that is tried again each second has said of late. All zero at first; for one thread.
 */
enum { LOG_SELDOM_TEXTS = 8 };
struct log_seldom {
    struct {
        uint64_t text; /* its hash */
        int64_t at_ms;
    } said[LOG_SELDOM_TEXTS];
};
/* The same text again within a minute is not written. `now_ms` never goes back. */
void log_seldom(const struct log *log, struct log_seldom *seldom, int64_t now_ms,
                const char *format, ...) __attribute__((format(printf, 4, 5)));

#endif
