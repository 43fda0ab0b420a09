/* JSON as most of it comes, read in one pass: a third of the work of Jansson's own reader, which
 * fetches, checks and keeps each byte by calls. */
#ifndef ODDLOAF_BASE_JSONX_QUICK_H
#define ODDLOAF_BASE_JSONX_QUICK_H

#include <jansson.h>
#include <stddef.h>

/* The value of `length` bytes of UTF-8 without NUL: the one Jansson reads, as a new reference, or
 * NULL of anything that is not JSON or is nested deeper than JSONX_DEPTH: Jansson says what is
 * wrong. */
json_t *jsonx_quick(const char *bytes, size_t length);

#endif
