/* How a printed code becomes the text a caller reads out: a noisy channel over folded codes
 * (capital letters and digits). Some codes are clear, some smudged; each character may be taken for
 * one that looks or sounds like it, for any other, be left out, said twice, swapped with the next,
 * or something may be put in; a whole part, the head or the tail may be missing. Sums over all ways
 * to get from code to text, so that likelihoods of different codes can be compared. Pure.
 *
 * Which characters are taken for which: lists of look-alikes as used for unambiguous alphabets
 * (Crockford, Base 32, decodes I and L to 1, O to 0). The rates are from memory: rule values. */
#ifndef ODDLOAF_LOTS_READING_H
#define ODDLOAF_LOTS_READING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { READING_TEXT = 48, READING_LETTERS = 36, READING_QUALITIES = 2 };

struct reading_rates {
    double share; /* of readings that are of this quality */
    double confused, other, dropped, doubled, extra, swapped; /* per character */
};
struct reading {
    struct reading_rates quality[READING_QUALITIES]; /* clear, smudged; shares sum to 1 */
    double part_missing;                             /* a part between blanks left out */
    double head_missing;                             /* reading starts at a later part */
    double tail_missing;                             /* reading stops early */
    double letter_missing; /* the letter at the start of a part not said */
    double junk;           /* what was read is not the lot code at all */
    /* [true][read]: how likely a confusion is, as multiple of `confused`; 0 not alike */
    double alike[READING_LETTERS][READING_LETTERS];
};

/* A code prepared for comparing: its folded characters and where its parts begin. */
struct reading_code {
    size_t length;
    unsigned char letter[READING_TEXT]; /* 0..35 */
    bool part_start[READING_TEXT + 1];
    size_t parts;
};

/* Values from memory, used where the rule file says nothing. */
void reading_defaults(struct reading *ret);
/* `weight` for every two different characters of `letters`, both ways. False if a character is not
 * a capital letter or digit. */
bool reading_set_alike(struct reading *reading, const char *letters, double weight);
/* True if no character's rates of going wrong sum to more than a half. */
bool reading_is_sound(const struct reading *reading);

/* 0..35 for '0'..'9' 'A'..'Z', -1 for anything else. */
int reading_letter(char c);
/* Parts are split at anything that is no letter or digit. */
void reading_prepare(const char *code, struct reading_code *ret);
/* ln P(text | code), junk aside. `only_clear`: the text came from a scanner. */
double reading_log_likelihood(const struct reading *reading, const struct reading_code *code,
                              const struct reading_code *text, bool only_clear);
/* ln P(text) if it is junk: any character as likely as any other. */
double reading_log_junk(const struct reading_code *text);

/* Single-character edits between two strings (case counts); with `swaps`, an exchange of
 * neighbours is one edit (optimal string alignment), else it is two (Levenshtein). */
int reading_edits(const char *a, const char *b, bool swaps);

#endif
