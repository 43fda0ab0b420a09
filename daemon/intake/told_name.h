/* Inside intake/ only: words, and names in capitals, as a story tells them. Pure. */
#ifndef ODDLOAF_INTAKE_TOLD_NAME_H
#define ODDLOAF_INTAKE_TOLD_NAME_H

#include <stdbool.h>
#include <stddef.h>

enum { TOLD_NAME_WORD = 48 };

struct told_word {
    const char *at;
    size_t length;
    char folded[TOLD_NAME_WORD]; /* without apostrophes */
};
struct told_name {
    const char *from, *to;
    int words, common; /* of them, words of other things as well */
};

/* The word at `at`; false if there is none. */
bool told_name_word(const char *at, struct told_word *ret);
/* The words in capitals from `at` on, particles between them; titles and what is no name there
 * ("Thanks", "Bakery") are none of it. */
void told_name_read(const char *at, struct told_name *ret);
/* Is a folded word of a story none of a name there, a particle or a day? */
bool told_name_is_not(const char *word);
/* The list ends with NULL. */
bool told_name_is_among(const char *word, const char *const *words);
/* Behind these characters. */
const char *told_name_skip(const char *at, const char *what);

#endif
