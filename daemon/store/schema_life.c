/* Step 11: contact data that texts repeat is told from who called, so that erasing the one leaves
 * the other; new readings are counted one by one. */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_LIFE[] =
    /* of: 0 who called, 1 what the texts repeat, 2 a name the caller went by before */
    "ALTER TABLE contact_key ADD COLUMN of INTEGER NOT NULL DEFAULT 0 CHECK(of IN (0, 1, 2));"
    /* basis 'said': only what the texts repeated, as often as that is asked for */
    "CREATE TABLE erased_next(seq INTEGER PRIMARY KEY, report TEXT NOT NULL, at_ms INTEGER NOT NULL,"
    " basis TEXT NOT NULL CHECK(basis IN ('request', 'date', 'said'))) STRICT;"
    "INSERT INTO erased_next SELECT seq, report, at_ms, basis FROM erased;"
    "DROP TABLE erased; ALTER TABLE erased_next RENAME TO erased;"
    "CREATE UNIQUE INDEX erased_whole ON erased(report) WHERE basis <> 'said';"
    "CREATE UNIQUE INDEX erased_said ON erased(report, at_ms) WHERE basis = 'said';"
    /* reports are looked through again from this entry on: this version finds more (desk/older.h) */
    "INSERT INTO setting(key, value) SELECT 'apart/after', '0' WHERE EXISTS (SELECT 1 FROM entry)"
    " ON CONFLICT DO NOTHING;"
    /* a row of readings may be many: what was loaded before is counted once, with the first load */
    "ALTER TABLE load_file ADD COLUMN records INTEGER NOT NULL DEFAULT 0;"
    "UPDATE load_file SET records = (SELECT count(*) FROM reading) WHERE rowid ="
    " (SELECT min(rowid) FROM load_file WHERE kind = 'readings');";
