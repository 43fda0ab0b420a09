/* What somebody meant who wrote a word a little otherwise than any that is known. */
#ifndef ODDLOAF_BASE_NEAR_H
#define ODDLOAF_BASE_NEAR_H

#include "base/error.h"
#include <stddef.h>

enum { NEAR_BYTES = 64 };

/* Letters that were changed, left out, added, or swapped with their neighbour (the restricted edit
 * distance of Damerau 1964). What is NEAR_BYTES long and longer is that far from everything. */
size_t near_edits(const char *a, const char *b);

/* The nearest of the words tried so far: up to a letter in three is another, or, of words of four
 * letters and more, one is a part of the other. */
struct near {
    const char *said, *word; /* word: borrowed as it was tried; NULL: none is near */
    size_t edits;
};
struct near near_to(const char *said);
void near_try(struct near *near, const char *word);
/* Each word of "one two three"; one that is nearer is kept in `best`. */
void near_try_each(struct near *near, const char *words, char best[static NEAR_BYTES]);
/* "did you mean mold?" as the error's hint, or `usual` where nothing is near. */
void near_hint(const struct near *near, const char *usual, struct error *err);

#endif
