/* Step 12: photos and reports that belong to a complaint or a case. The bytes stand in the
 * database, once each whatever they are attached to: so a row and its file come and go in one
 * commit, a backup holds both, and what is removed is overwritten (secure_delete). */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_ATTACHED[] =
    "CREATE TABLE attached_file(id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL UNIQUE, data BLOB NOT NULL)"
    " STRICT;"
    "CREATE TABLE attached(id INTEGER PRIMARY KEY, case_id INTEGER REFERENCES complaint_case,"
    " complaint_id INTEGER REFERENCES complaint, file_id INTEGER REFERENCES attached_file,"
    " sha256 TEXT NOT NULL, name TEXT NOT NULL, type TEXT NOT NULL, bytes INTEGER NOT NULL,"
    " removed INTEGER NOT NULL DEFAULT 0, by_name TEXT NOT NULL, by_user TEXT NOT NULL,"
    " at_ms INTEGER NOT NULL, end_reason TEXT, ended_by TEXT, ended_ms INTEGER,"
    " CHECK((case_id IS NULL) <> (complaint_id IS NULL)),"
    " CHECK((ended_ms IS NULL) = (file_id IS NOT NULL))) STRICT;"
    "CREATE INDEX attached_case ON attached(case_id) WHERE case_id IS NOT NULL;"
    "CREATE INDEX attached_complaint ON attached(complaint_id) WHERE complaint_id IS NOT NULL;"
    "CREATE INDEX attached_of ON attached(file_id) WHERE file_id IS NOT NULL;"
    "CREATE INDEX attached_user ON attached(by_user, at_ms);"
    /* as history.c tells them */
    "CREATE VIEW attached_event AS SELECT case_id, complaint_id, at_ms, by_name AS who, 'attached' AS"
    " what, name AS is_, '' AS was, type AS why FROM attached UNION ALL SELECT case_id, complaint_id,"
    " ended_ms, ended_by, 'detached', '', name, end_reason FROM attached WHERE ended_ms IS NOT NULL;";
