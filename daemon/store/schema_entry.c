/* What came in, as it came, and what it is found by.
 *
 * Words are looked up in SQLite's own table of words (FTS5): it folds case and accents of all
 * alphabets, finds the few of very many notes by each word's list of rows, and gives the newest
 * first without sorting. An ordinary index holds a text whole and finds its beginning only; a table
 * of words of our own would be the same lists, made by hand, at ten times the rows. What another
 * engine has in its place differs, so nothing but entry.c and entry_find.c names it. */
#include "store/schema.h"

/* Whose contact data was erased: by the report's id, which outlives joining and separating. Rows of
 * before, whose complaint is known, come along. */
const char SCHEMA_ENTRY_ERASED[] =
    "CREATE TABLE erased(seq INTEGER PRIMARY KEY, report TEXT NOT NULL UNIQUE,"
    " at_ms INTEGER NOT NULL, basis TEXT NOT NULL CHECK(basis IN ('request', 'date'))) STRICT;"
    "INSERT INTO erased(report, at_ms, basis) SELECT c.uuid, min(e.at_ms), e.basis FROM erasure e"
    " JOIN complaint c ON c.id = e.complaint_id WHERE NOT EXISTS (SELECT 1 FROM contact k WHERE"
    " k.complaint_id = c.id) GROUP BY c.uuid;"
    "DROP TABLE erasure;";

const char SCHEMA_ENTRY[] =
    "CREATE TABLE entry(id INTEGER PRIMARY KEY, report TEXT NOT NULL UNIQUE,"
    " logged_by TEXT NOT NULL, ticket TEXT, sent TEXT NOT NULL, taken TEXT NOT NULL) STRICT;"
    "CREATE INDEX entry_ticket ON entry(ticket) WHERE ticket IS NOT NULL;"
    "CREATE VIRTUAL TABLE entry_words USING fts5(reference, store, lot_text, note,"
    " tokenize = 'unicode61 remove_diacritics 2');";
