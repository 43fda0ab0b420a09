/* The terminal view: plain lines, never wider than the terminal (80 columns unless it is
 * narrower; 40 at least), readable with a screen reader and without colour. Bold, dim and
 * red are decoration only; nothing is said by them alone. Marks outside ASCII are replaced where
 * the locale is not UTF-8. Control characters and direction marks in data never reach the terminal.
 */
#ifndef ODDLOAF_CLIENT_SHOW_VIEW_H
#define ODDLOAF_CLIENT_SHOW_VIEW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#define VIEW_NUMBER 48
#define VIEW_COUNT 80 /* with what is counted */
#define VIEW_BAR 128
#define VIEW_NBSP "\xC2\xA0" /* keeps words together in a wrapped line; printed as a blank */

struct view {
    FILE *out;
    int width;
    bool terminal;
    bool utf8;
    bool styled; /* bold, dim and red: a terminal, no NO_COLOR, no TERM=dumb */
};

enum view_style { VIEW_PLAIN, VIEW_BOLD, VIEW_DIM, VIEW_HARM /* bold and red */ };

/* Looks at `out`, the locale and the environment. */
void view_init(struct view *v, FILE *out);

/* Words wrapped to the width: the first line begins at column `indent`, further ones at
 * `indent + hang`. A newline in the text begins a new line at `indent`. */
void view_text(const struct view *v, enum view_style style, int indent, int hang, const char *text);
void view_textf(const struct view *v, enum view_style style, int indent, int hang,
                const char *format, ...) __attribute__((format(printf, 5, 6)));
/* One line of words on `out`: wrapped on a terminal, else whole, as programs read it. */
void view_line(FILE *out, int indent, const char *text);
/* The first line of a view; a section's heading after a blank line; "label   text". */
void view_title(const struct view *v, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void view_section(const struct view *v, const char *title);
void view_label(const struct view *v, const char *label, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void view_blank(const struct view *v);

/* ---- pieces of text; all return `buffer` ---- */

/* 47.5, 1 200, 0.0031: whole where it is whole or 1000 and more, thousands set apart, else four
 * significant digits; three and an exponent from 1e12 on and below 1e-4; "-" if it is not finite.
 */
char *view_number(double value, char buffer[static VIEW_NUMBER]);
/* "1 file", "2 files", "1 200 units". */
char *view_count(double count, const char *noun, char buffer[static VIEW_COUNT]);
/* 2.6, 93.3, 0.05, <0.01: a rate or a ratio, as exact as its interval deserves. */
char *view_rough(double value, char buffer[static VIEW_NUMBER]);
/* 7, "about 3" of 3.4, <1: what is counted by shares. */
char *view_about(double count, char buffer[static VIEW_NUMBER]);
/* A chance: 0.16, 0.0028, 2e-08. */
char *view_small(double value, char buffer[static VIEW_NUMBER]);
/* "81 %", "<1 %", ">99 %" of 0..1; "-" if it is not finite. */
char *view_percent(double share, char buffer[static VIEW_NUMBER]);
/* The same of what is only believed: never 0 nor 100 %. */
char *view_chance(double probability, char buffer[static VIEW_NUMBER]);
/* "very likely" of .81: the word for a probability. Static. */
const char *view_likely(double probability);
/* "+3.1" */
char *view_bits(double bits, char buffer[static VIEW_NUMBER]);
/* A bar of `cells` (<= 40) columns for a share 0..1. */
char *view_bar(const struct view *v, double share, int cells, char buffer[static VIEW_BAR]);
/* One mark a value, from 0 to the largest of them; of more than 40 the last. What is not finite is
 * a gap. */
char *view_spark(const struct view *v, const double *values, size_t count,
                 char buffer[static VIEW_BAR]);
/* "2026-11-20 09:14" of an RFC 3339 instant, as written there; other text as it is, cut to fit. */
char *view_when(const char *instant, char buffer[static VIEW_NUMBER]);

/* ---- used by the layout and its tests ---- */

/* Writes `length` bytes of UTF-8 as this terminal takes them, without a newline. Returns the
 * columns used. */
int view_put(const struct view *v, const char *text, size_t length);
void view_pad(const struct view *v, int columns);
void view_style_begin(const struct view *v, enum view_style style);
void view_style_end(const struct view *v, enum view_style style);

#endif
