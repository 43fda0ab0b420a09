/* Words people use that are no slip of the pen: a word of these lists is never read as a
 * misspelling of another ("inspected" is not "insects"). One file a language. */
#ifndef ODDLOAF_INTAKE_COMMON_WORDS_H
#define ODDLOAF_INTAKE_COMMON_WORDS_H

#include "base/doc.h"
#include <stdbool.h>

struct common_words;

/* Every *.json of `dir`: {"words": ["some words apart", …]}. A missing folder is an empty list.
 * Every fault is reported (`report` may be NULL); then the first is also in `err` and its code
 * returned. */
int common_words_load(const char *dir, doc_report report, void *arg, struct common_words **ret,
                      struct error *err);
void common_words_free(struct common_words *words); /* NULL is fine */
/* `word` folded as text_fold() does, without apostrophes. Thread-safe. */
bool common_words_has(const struct common_words *words, const char *word);

#endif
