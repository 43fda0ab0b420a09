/* Step 16: rows that come by the dozen with a complaint. SQLite looks a value up in a list of three
 * or more by filling a table for it, once for each row written: here nothing is listed so. */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_FLAT[] =
    "CREATE TABLE work_next(kind TEXT NOT NULL CHECK(kind IN ('rank', 'again') OR"
    " kind IN ('news', 'rematch') OR kind IN ('since', 'bulk') OR kind = 'told'),"
    " subject_id INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,"
    " seq INTEGER NOT NULL DEFAULT 1, PRIMARY KEY(kind, subject_id)) STRICT, WITHOUT ROWID;"
    "INSERT INTO work_next SELECT kind, subject_id, due_ms, attempts, seq FROM work;"
    "DROP TABLE work; ALTER TABLE work_next RENAME TO work;"
    "CREATE INDEX work_due ON work(kind, due_ms);"
    "CREATE TABLE contact_key_next(key TEXT NOT NULL, contact_id INTEGER NOT NULL REFERENCES contact"
    " ON DELETE CASCADE, of INTEGER NOT NULL DEFAULT 0 CHECK(of BETWEEN 0 AND 2),"
    " PRIMARY KEY(key, contact_id)) STRICT, WITHOUT ROWID;"
    "INSERT INTO contact_key_next SELECT key, contact_id, of FROM contact_key;"
    "DROP TABLE contact_key; ALTER TABLE contact_key_next RENAME TO contact_key;"
    "CREATE INDEX contact_key_of ON contact_key(contact_id);";
/* clang-format on */
