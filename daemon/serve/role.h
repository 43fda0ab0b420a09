/* Roles by their words, in settings, tokens, certificates and answers. */
#ifndef ODDLOAF_SERVE_ROLE_H
#define ODDLOAF_SERVE_ROLE_H

#include <stddef.h>

struct role_row {
    const char *word;    /* "desk"; NULL: the end */
    const char *setting; /* "roles/desk": the Unix groups that have it */
    unsigned role;       /* of enum role (request.h) */
};
const struct role_row *role_rows(void);

/* Of a word, 0 if it is none. */
unsigned role_of(const char *word);
/* "qa or manager", cut to what fits. */
void role_words(unsigned roles, char *out, size_t size);

#endif
