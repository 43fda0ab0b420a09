/* Inside store/ only: the table of the words of reports, by which they are found. SQLite's folds
 * and splits texts by itself (FTS5, unicode61); for PostgreSQL they are folded (text_fold()) and
 * split here, so that both find the same. */
#ifndef ODDLOAF_STORE_ENTRY_WORDS_H
#define ODDLOAF_STORE_ENTRY_WORDS_H

#include "base/text.h"
#include "store/store.h"

enum entry_column { ENTRY_REFERENCE, ENTRY_STORE, ENTRY_LOT_TEXT, ENTRY_NOTE, ENTRY_COLUMNS };

/* Of a report that has an entry and a row, which says `text`; NULL: none. SQLite reads the row, as
 * the transaction ends. */
int entry_words_in(struct store *store, const char *report, const char *const text[ENTRY_COLUMNS],
                   struct error *err);
/* Before the row, or the entry's store, changes or goes, unless it was done already. SQLite's table
 * has no texts: it is told what it was given. */
int entry_words_out(struct store *store, const char *report, struct error *err);
/* What was taken out of texts is gone from the table's file, too. */
int entry_words_forget(struct store *store, struct error *err);
/* Adds to what is looked for that these words, in this order, stand in the column (ENTRY_COLUMNS:
 * in any); a star at the end: how the last begins. Nothing that a person types is a sign of the
 * query's own. Parameter of `entry_words MATCH (?1)`. */
void entry_words_term(const struct store *store, struct text_buffer *match,
                      enum entry_column column, const char *at, size_t length);

/* What SQLite's table has of an entry `e`, and where its report is. */
#define ENTRY_WORDS_COLUMNS "reference, store, lot_text, note"
#define ENTRY_WORDS_REPORTS                                                                        \
    "entry e LEFT JOIN joined j ON j.uuid = e.report LEFT JOIN complaint c ON c.uuid = e.report"
#define ENTRY_WORDS_BODY "coalesce(j.body, c.body)"
#define ENTRY_WORDS_TEXTS                                                                          \
    "json_extract(" ENTRY_WORDS_BODY ", '$.reference'), CASE WHEN e.store IS NULL THEN"            \
    " json_extract(" ENTRY_WORDS_BODY ", '$.store') ELSE coalesce(json_extract(" ENTRY_WORDS_BODY  \
    ", '$.store') || ' ', '') || e.store END, json_extract(" ENTRY_WORDS_BODY                      \
    ", '$.lot_text'), json_extract(" ENTRY_WORDS_BODY ", '$.note')"
/* Those of all reports, into an empty table. */
#define ENTRY_WORDS_ALL                                                                            \
    "UPDATE entry SET worded = 1 WHERE report IN (SELECT uuid FROM complaint UNION ALL SELECT "    \
    "uuid"                                                                                         \
    " FROM joined);"                                                                               \
    "INSERT INTO entry_words(rowid, " ENTRY_WORDS_COLUMNS ") SELECT e.id, " ENTRY_WORDS_TEXTS      \
    " FROM " ENTRY_WORDS_REPORTS " WHERE e.worded = 1;"

#endif
