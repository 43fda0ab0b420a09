/* Inside store/ only: the table of the words of reports, by which they are found. SQLite's folds
 * and splits texts by itself (FTS5, unicode61); for PostgreSQL they are folded (text_fold()) and
 * split here, so that both find the same. */
#ifndef ODDLOAF_STORE_ENTRY_WORDS_H
#define ODDLOAF_STORE_ENTRY_WORDS_H

#include "base/text.h"
#include "store/store.h"

enum entry_column { ENTRY_REFERENCE, ENTRY_STORE, ENTRY_LOT_TEXT, ENTRY_NOTE, ENTRY_COLUMNS };

/* The words of the report's entry, in the place of those before. NULL: none. */
int entry_words_put(struct store *store, const char *report, const char *const text[ENTRY_COLUMNS],
                    struct error *err);
/* What was taken out of texts is gone from the table's file, too. */
int entry_words_forget(struct store *store, struct error *err);
/* Adds to what is looked for that these words, in this order, stand in the column (ENTRY_COLUMNS:
 * in any); a star at the end: how the last begins. Nothing that a person types is a sign of the
 * query's own. Parameter of `entry_words MATCH (?1)`. */
void entry_words_term(const struct store *store, struct text_buffer *match,
                      enum entry_column column, const char *at, size_t length);

#endif
