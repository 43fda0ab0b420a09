/* Step 16: what a report is found by stands in its row, and was kept a second time beside SQLite's
 * table of words for the day when it changes. Now that has the words alone; whoever changes a row
 * takes out what it said before (entry_words.h). Triggers would do it unasked, but a trigger may
 * not write to that table where no schema is trusted. */
#include "store/db.h"
#include "store/entry_words.h"
#include "store/schema.h"
#include "store/store_inside.h"

/* clang-format off */
const char SCHEMA_WORDS_ENTRY[] =
    /* store: as the plant spells what the report names; NULL: so. worded: its words are in */
    "ALTER TABLE entry ADD COLUMN store TEXT;"
    "ALTER TABLE entry ADD COLUMN worded INTEGER NOT NULL DEFAULT 0;";

static const char SQLITE_WORDS[] =
    "UPDATE entry SET store = (SELECT w.store FROM entry_words w WHERE w.rowid = entry.id) WHERE id IN"
    " (SELECT e.id FROM " ENTRY_WORDS_REPORTS " JOIN entry_words w ON w.rowid = e.id WHERE w.store IS"
    " NOT json_extract(" ENTRY_WORDS_BODY ", '$.store'));"
    "DROP TABLE entry_words;"
    "CREATE VIRTUAL TABLE entry_words USING fts5(" ENTRY_WORDS_COLUMNS ", content = '', columnsize ="
    " 0, tokenize = 'unicode61 remove_diacritics 2');"
    ENTRY_WORDS_ALL;
/* clang-format on */

/* PostgreSQL's has no second copy. */
int schema_words_move(struct store *store, struct error *err)
{
    return store->engine->is_server ? 0 : db_exec(store, SQLITE_WORDS, err);
}
