/* Text: UTF-8 checks, folding for look-ups, strict numbers, a growing buffer, allocation
 * that aborts when memory is gone (a daemon that cannot allocate 40 bytes restarts). */
#ifndef ODDLOAF_BASE_TEXT_H
#define ODDLOAF_BASE_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void *xmalloc(size_t size);
void *xcalloc(size_t count, size_t size);
void *xrealloc(void *p, size_t size);
char *xstrdup(const char *s);
char *xstrndup(const char *s, size_t length);

/* True if the bytes are well-formed UTF-8 (RFC 3629: no surrogates, no overlong forms, <= 10FFFF)
 * without NUL. */
bool text_is_utf8(const char *s, size_t length);
/* Bytes before the first that breaks that rule; `length` if none does. */
size_t text_utf8_prefix(const char *s, size_t length);
/* The same bytes as UTF-8: what breaks that rule is read as Windows-1252, the letters of Western
 * Europe that old programs write; what is no letter or sign there, and NUL, is a blank. malloc'd.
 */
char *text_as_utf8(const char *s, size_t length);
/* Columns the string takes on a terminal (wide East Asian characters two, combining none). */
int text_columns(const char *s);
/* Copies with Latin letters lowered and without their accents (á→a, ễ→e, đ→d, ß→ss; those of full
 * width and of mathematics too; digits of full width are digits), runs of white space made one
 * blank, ends trimmed, malformed bytes made '?'. Combining accents are dropped; letters of Greek
 * (accents dropped), Cyrillic (Ё is Е, Й is И) and Armenian are lowered. Cut at a character.
 * Returns `out`. */
char *text_fold(const char *s, char *out, size_t size);
/* Of the alphabets above, is the first character a capital? */
bool text_is_capital(const char *s);
/* Copies at most size-1 bytes, cut at a character. Control characters, marks that turn the reading
 * direction and malformed bytes become '?'. Returns `out`. */
char *text_clip(const char *s, char *out, size_t size);
/* Bytes of the control character, separator of lines or paragraphs or mark of reading direction
 * that `s` begins with, and its code; 0: it begins with none. */
size_t text_control_at(const char *s, unsigned *ret_code);
/* The text on one line that reads as it stands: control characters, separators of lines and
 * paragraphs and marks that turn the reading direction become blanks, but for the ASCII ones in
 * `kept`. malloc'd; NULL if it is so already. */
char *text_tame(const char *s, const char *kept);
/* A probability as a whole percentage that never claims certainty: "<1", "42", ">99"; 0 and 1
 * themselves are "0" and "100". Returns `out`. */
char *text_percent(double share, char out[8]);
/* The same of what is believed: it is never certain, though it was rounded to 0 or 1 on its way
 * here. */
char *text_chance(double probability, char out[8]);
bool text_equal_fold(const char *a, const char *b); /* ASCII case-insensitive */

/* Strict numbers, the same in every locale: the whole string must be the number; no blanks, hex,
 * inf, nan, trailing point or value out of range ("+1", ".5", "1e3" are numbers, "5." is not).
 * Return 0 or ERROR_INVALID; *ret is written only on success. */
int text_to_double(const char *s, double *ret);
int text_to_int64(const char *s, int64_t *ret);

/* A growing, always NUL-terminated byte buffer; numbers are printed as in the C locale.
 * Zero-initialise; text_buffer_free() ends it. */
struct text_buffer {
    char *data; /* NULL until the first append */
    size_t length, capacity;
};
void text_append(struct text_buffer *b, const char *s);
void text_append_bytes(struct text_buffer *b, const void *bytes, size_t length);
void text_appendf(struct text_buffer *b, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void text_vappendf(struct text_buffer *b, const char *format, va_list args)
    __attribute__((format(printf, 2, 0)));
/* With & < > " ' as references, marks that turn the reading as blanks: safe as text, in quotes. */
void text_append_html(struct text_buffer *b, const char *s);
/* As one word of a shell's line, in quotes where it needs them: L2-6321, 'L1 6326 B1846'. */
void text_append_word(struct text_buffer *b, const char *s);
void text_reset(struct text_buffer *b); /* keeps the memory */
char *text_take(struct text_buffer *b); /* gives the string away (never NULL), empties b */
void text_buffer_free(struct text_buffer *b);

#endif
