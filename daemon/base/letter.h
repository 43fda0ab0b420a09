/* A letter by its Unicode number: as UTF-8, and by the four digits that JSON's escapes have. Pure.
 */
#ifndef ODDLOAF_BASE_LETTER_H
#define ODDLOAF_BASE_LETTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LETTER_BYTES = 4 };
/* Its bytes, which are counted; at most U+10FFFF. */
size_t letter_utf8(uint32_t letter, char out[LETTER_BYTES]);
/* Four hexadecimal digits, of either case, at the beginning of `length` bytes; else false. */
bool letter_hex(const char *at, size_t length, uint32_t *ret);

#endif
