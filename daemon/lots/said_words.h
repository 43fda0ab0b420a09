/* What people type for a name, and the name, as words that can be compared: folded, without
 * punctuation, numbers without leading zeros ("Store #0417" gives "store", "417"). */
#ifndef ODDLOAF_LOTS_SAID_WORDS_H
#define ODDLOAF_LOTS_SAID_WORDS_H

#include <stdbool.h>
#include <stddef.h>

enum { SAID_WORDS_MOST = 24, SAID_WORDS_TEXT = 256 };

struct said_words {
    char text[SAID_WORDS_TEXT]; /* the words, a NUL after each */
    const char *word[SAID_WORDS_MOST];
    size_t count;
};

/* Takes the words apart; those that do not fit are left out. `passed`, ended by NULL, are words
 * that say nothing ("store"): they are left out as long as another is there. NULL: none. */
void said_words_take(const char *text, const char *const *passed, struct said_words *ret);
/* The same words in the same order, or with no blank between them ("W 24", "w24"). */
bool said_words_same(const struct said_words *a, const struct said_words *b);
/* Is each word of `part` in `whole`, its plural, or the beginning of one, of three letters or more?
 */
bool said_words_part(const struct said_words *part, const struct said_words *whole);
/* Is a word of three letters or more among them? Numbers alone are in many names. */
bool said_words_letters(const struct said_words *words);

#endif
