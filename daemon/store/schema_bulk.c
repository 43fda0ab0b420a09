/* Cases of a file of complaints wait for each other: many of them are told in one mail
 * (store/work.h). */
#include "store/schema.h"

const char SCHEMA_BULK[] =
    "CREATE TABLE work_next(kind TEXT NOT NULL"
    " CHECK(kind IN ('rank', 'again', 'news', 'rematch', 'since', 'bulk', 'told')),"
    " subject_id INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,"
    " seq INTEGER NOT NULL DEFAULT 1, PRIMARY KEY(kind, subject_id)) STRICT, WITHOUT ROWID;"
    "INSERT INTO work_next SELECT kind, subject_id, due_ms, attempts, seq FROM work;"
    "DROP TABLE work; ALTER TABLE work_next RENAME TO work;"
    "CREATE INDEX work_due ON work(kind, due_ms);";
