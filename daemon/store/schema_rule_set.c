/* Rankings named their rules by a hash of 71 bytes each, and stood in a table without row numbers,
 * whose inner pages hold whole rows: a fifth of it was empty. */
#include "store/schema.h"

const char SCHEMA_RULE_SET[] =
    "CREATE TABLE rule_set(id INTEGER PRIMARY KEY, hash TEXT NOT NULL UNIQUE) STRICT;"
    "INSERT INTO rule_set(hash) SELECT DISTINCT rules FROM ranking;"
    "CREATE TABLE ranking_next(case_id INTEGER NOT NULL REFERENCES complaint_case,"
    " revision INTEGER NOT NULL, as_of_ms INTEGER NOT NULL,"
    " rule_set_id INTEGER NOT NULL REFERENCES rule_set, kept INTEGER NOT NULL DEFAULT 0,"
    " complaints INTEGER NOT NULL, items TEXT NOT NULL DEFAULT '', why TEXT, lot TEXT,"
    " moved_here INTEGER NOT NULL DEFAULT 0, PRIMARY KEY(case_id, revision)) STRICT;"
    "INSERT INTO ranking_next SELECT r.case_id, r.revision, r.as_of_ms, s.id, r.kept, r.complaints,"
    " r.items, r.why, r.lot, r.moved_here FROM ranking r JOIN rule_set s ON s.hash = r.rules"
    " ORDER BY r.case_id, r.revision;"
    "DROP TABLE ranking; ALTER TABLE ranking_next RENAME TO ranking;"
    "CREATE INDEX ranking_mailed ON ranking(as_of_ms) WHERE why IS NOT NULL;";
