/* UUIDv7 (RFC 9562): 48 bits of Unix milliseconds, then random bits from getrandom(2). */
#ifndef ODDLOAF_BASE_UUID_H
#define ODDLOAF_BASE_UUID_H

#include <stdbool.h>
#include <stdint.h>

#define UUID_TEXT 37 /* 36 characters and the NUL */

void uuid_v7(int64_t unix_ms, char out[static UUID_TEXT]);
/* True for the 8-4-4-4-12 text form (RFC 9562 section 4), either case, and nothing else in the
 * string. `out` (UUID_TEXT bytes, or NULL) gets the lower-case form. */
bool uuid_normalize(const char *s, char *out);

#endif
