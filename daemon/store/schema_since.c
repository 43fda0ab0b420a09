/* What changes for many cases is one row of work, whatever their number (store/work.h). */
#include "store/schema.h"

const char SCHEMA_SINCE[] =
    "CREATE TABLE work_next(kind TEXT NOT NULL"
    " CHECK(kind IN ('rank', 'again', 'news', 'rematch', 'since')),"
    " subject_id INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,"
    " seq INTEGER NOT NULL DEFAULT 1, PRIMARY KEY(kind, subject_id)) STRICT, WITHOUT ROWID;"
    "INSERT INTO work_next SELECT kind, subject_id, due_ms, attempts, seq FROM work;"
    "DROP TABLE work; ALTER TABLE work_next RENAME TO work;"
    "CREATE INDEX work_due ON work(kind, due_ms);";
