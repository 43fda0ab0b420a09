/* Errors: one small object, filled where the cause is known, first error wins.
 *
 * Every fallible function returns 0 or a negative `enum error_code` and takes an
 * optional `struct error *` last. Libraries fill and return; only the daemon's edge
 * and the client print. A full message reads
 *     what failed, on which thing, why, what to do
 * and, where input is refused, names source, line, column/field, value and reason. */
#ifndef ODDLOAF_BASE_ERROR_H
#define ODDLOAF_BASE_ERROR_H

#include <stdbool.h>
#include <stddef.h>

enum error_code {
    ERROR_NONE = 0,
    ERROR_INVALID = -1,   /* input that cannot be right: fix the input */
    ERROR_NOT_FOUND = -2, /* the named thing is not here */
    ERROR_DENIED = -3,    /* the caller's role may not do this */
    ERROR_CONFLICT = -4,  /* would contradict what is stored */
    ERROR_TOO_LARGE = -5, /* over a stated limit */
    ERROR_BUSY = -6,      /* try again later */
    ERROR_NO_SPACE = -7,  /* disk or quota full: free space, then try again */
    ERROR_IO = -8,        /* the system refused: see text */
    ERROR_MEMORY = -9,
    ERROR_INTERNAL = -10,    /* our own bug */
    ERROR_UNREACHABLE = -11, /* the other side does not answer */
    ERROR_LOST = -12         /* the database was taken away under the daemon that writes it */
};

struct error {
    enum error_code code;
    char source[128]; /* file or stream the value came from, "" if none */
    long line;        /* 1-based, 0 if unknown */
    long column;      /* 1-based character column, 0 if unknown */
    char field[96];   /* column name, JSON pointer or option */
    char value[128];  /* the offending value, cut to fit, control characters replaced */
    char text[320];   /* the reason, lower case, no full stop */
    char hint[200];   /* what to do, "" if nothing sensible */
};

/* Whether it is the daemon or its machine that could not: what was asked may be quite right, and is
 * asked again later. */
bool error_is_ours(enum error_code code);

/* Sets code and text unless `err` is NULL or already set. Returns `code`, so that
 * callers write `return error_set(err, ERROR_INVALID, "…")`. */
int error_set(struct error *err, enum error_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* Name the place; an argument that is NULL (a line or column <= 0) is kept as it is. */
void error_at(struct error *err, const char *source, long line, long column);
void error_field(struct error *err, const char *field, const char *value);
void error_hint(struct error *err, const char *format, ...) __attribute__((format(printf, 2, 3)));
void error_clear(struct error *err);
/* "invalid", "not-found", …: the stable word for a code (used in problem documents). */
const char *error_word(enum error_code code);
/* The whole message on one line: "source:line:column: field 'value': text (hint)".
 * Returns `buffer`. */
char *error_format(const struct error *err, char *buffer, size_t size);

#endif
