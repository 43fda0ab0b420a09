/* JSON on top of Jansson, strict (RFC 8259 and, of I-JSON RFC 7493, the rules on names and
 * encoding): no duplicate names, no NUL, no lone surrogates, no byte order mark, no NaN or
 * Infinity, no trailing bytes, bounded depth and size. jsonx_locate() finds a value's place again,
 * so that a rule file's error can name line and column. */
#ifndef ODDLOAF_BASE_JSONX_H
#define ODDLOAF_BASE_JSONX_H

#include "base/error.h"
#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

/* The threads share the texts of the rules (rank/triage.h) and give references to them away at
 * once. */
#ifndef JANSSON_THREAD_SAFE_REFCOUNT
#error                                                                                             \
    "this Jansson counts references by no atomic operation: the daemon's readers need one that does (gcc or clang, Jansson 2.14 or later)"
#endif

#define JSONX_DEPTH 16
#define JSONX_BYTES (1u << 20)

/* Before anything else, in main(): from now on JSON that finds no memory ends the program, as
 * xmalloc() does. Jansson by itself leaves the member out that found none. */
void jsonx_start(void);

/* Parses one document of `length` bytes, a scalar too. *ret is a new reference, written only on
 * success. Errors carry line and column; ERROR_TOO_LARGE over JSONX_BYTES. */
int jsonx_parse(const char *bytes, size_t length, json_t **ret, struct error *err);
/* Appends the bytes of a file of at most `limit`. ERROR_NOT_FOUND, ERROR_TOO_LARGE or ERROR_IO with
 * err->source = path. */
int jsonx_read(const char *path, size_t limit, struct text_buffer *ret, struct error *err);
/* The words of what should have been JSON and is none: as UTF-8 (text_as_utf8()), its escapes as
 * the letters they stand for. For hearing what somebody meant, not for reading it. malloc'd. */
char *jsonx_words(const char *bytes, size_t length);
/* Reads a whole file (<= 16 MiB). err->source = path. ERROR_NOT_FOUND if there is none. */
int jsonx_load(const char *path, json_t **ret, struct error *err);
/* Line and character column, both from 1, of byte `at`. */
void jsonx_place(const char *bytes, size_t at, long *ret_line, long *ret_column);
/* Line and column (1-based) of the value an RFC 6901 pointer names in the same text; for a
 * missing member, of the innermost object that is there. False only if the text is not JSON. */
bool jsonx_locate(const char *bytes, size_t length, const char *pointer, long *ret_line,
                  long *ret_column);

/* Typed members. Absent or null → *ret is left as it is, so set the default before; wrong type →
 * ERROR_INVALID with field = name. A string stays the object's. */
int jsonx_string(const json_t *object, const char *name, const char **ret, struct error *err);
/* Of at most `most` bytes: a longer one is refused, not cut. Free text is one line (text_tame()):
 * what is not is refused in one no longer than a signature (LENGTH_PERSON), and made so in the
 * object of longer ones. */
int jsonx_text(const json_t *object, const char *name, size_t most, const char **ret,
               struct error *err);
/* The same, which must be there and not empty. */
int jsonx_needed(const json_t *object, const char *name, size_t most, const char **ret,
                 struct error *err);
int jsonx_bool(const json_t *object, const char *name, bool *ret, struct error *err);
/* Does the list (NULL: it is empty) hold such a value? */
bool jsonx_holds(const json_t *list, const json_t *value);
/* Appends those of `more` (NULL: none) that it does not hold yet. */
void jsonx_add_missing(json_t *list, const json_t *more);
/* Compact text, keys in insertion order; numbers with up to 15 digits. Caller frees; NULL
 * only if `value` is NULL. */
char *jsonx_dump(const json_t *value);
/* A text from outside (a file's name, a folder's) as a JSON string: what is no UTF-8 in it becomes
 * "?", of which Jansson would make no string at all, and of an object with it no object. NULL is
 * null. New reference. */
json_t *jsonx_outside(const char *text);
/* Rounded, so that numbers stay readable and equal inputs give equal bytes; null if not finite. New
 * reference. */
json_t *jsonx_rounded(double value, int decimals);

#endif
