/* A set of words: an open hash of texts that somebody else keeps. */
#ifndef ODDLOAF_INTAKE_WORD_SET_H
#define ODDLOAF_INTAKE_WORD_SET_H

#include <stdbool.h>
#include <stddef.h>

/* Zero-initialise; word_set_free() ends it. */
struct word_set {
    const char **table; /* less than half full; NULL: a free place */
    size_t size, count; /* size: a power of two, or 0 */
};

/* Room for `more` words, so that as many are added without the set growing on the way. */
void word_set_reserve(struct word_set *set, size_t more);
/* `word` is borrowed as long as the set is. */
void word_set_add(struct word_set *set, const char *word);
/* Thread-safe while nobody adds. */
bool word_set_has(const struct word_set *set, const char *word);
void word_set_free(struct word_set *set);

#endif
