/* Text as people read it, the same in the terminal, in a mail and on a page: lines broken at words,
 * numbers with their thousands apart. */
#ifndef ODDLOAF_BASE_TYPESET_H
#define ODDLOAF_BASE_TYPESET_H

#include "base/text.h"

enum { TYPESET_NUMBER = 48, TYPESET_COUNT = 80 };

/* The longest piece of `text` that fits `width` columns and ends before a blank, a newline or the
 * end; in the middle of a word only if the word alone is wider, then behind a '_', '-' or '/' if it
 * has one, and never in the middle of a character. Returns its length in bytes; *ret_next is where
 * the next piece starts. */
size_t typeset_break(const char *text, int width, size_t *ret_next);

/* Digits, with or without a fraction, thousands of the whole part apart by `blank`: 182 400.5 */
void typeset_digits(struct text_buffer *out, const char *digits, const char *blank);
/* A count, a rate or a ratio, as exact as its interval deserves: 958 173, 65.8, 0.19, <0.01; "-" if
 * it is not finite. Returns `out`. */
char *typeset_rough(double value, const char *blank, char out[static TYPESET_NUMBER]);
/* What is counted by shares, as people say it: "7", "about 3" of 3.4, "<1", "39" of 39.2. Returns
 * `out`. */
char *typeset_about(double count, const char *blank, char out[static TYPESET_NUMBER]);
/* So many of what a noun names in the singular: "1 file", "2 files", "0 copies", "1 200 units". */
char *typeset_count(double count, const char *noun, const char *blank,
                    char out[static TYPESET_COUNT]);

#endif
