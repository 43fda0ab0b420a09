/* Step 12: results of laboratories and of retained samples. One result stands for each lot,
 * quantity, laboratory and sample; what was corrected or taken back stays as it was. */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_MEASURED[] =
    "CREATE TABLE measured(id INTEGER PRIMARY KEY, lot_id INTEGER NOT NULL REFERENCES lot,"
    " quantity TEXT NOT NULL, lab TEXT NOT NULL, sample TEXT NOT NULL,"
    /* as it was written, and as it counts: a number in that unit, or a word of the rules */
    " said TEXT NOT NULL, value REAL, unit TEXT NOT NULL DEFAULT '', word TEXT NOT NULL DEFAULT '',"
    " method TEXT NOT NULL DEFAULT '', note TEXT NOT NULL DEFAULT '', at_ms INTEGER NOT NULL,"
    " case_id INTEGER REFERENCES complaint_case, by_name TEXT NOT NULL, by_user TEXT NOT NULL DEFAULT"
    " '', logged_ms INTEGER NOT NULL, replaces INTEGER REFERENCES measured, end_reason TEXT, ended_by"
    " TEXT, ended_ms INTEGER, CHECK((ended_by IS NULL) = (ended_ms IS NULL))) STRICT;"
    "CREATE UNIQUE INDEX measured_standing ON measured(lot_id, quantity, lab, sample)"
    " WHERE ended_ms IS NULL;"
    "CREATE INDEX measured_quantity ON measured(quantity) WHERE ended_ms IS NULL;"
    "CREATE INDEX measured_replaces ON measured(replaces) WHERE replaces IS NOT NULL;"
    /* as history.c tells them */
    "CREATE VIEW measured_event AS SELECT m.lot_id, m.logged_ms AS at_ms, m.by_name AS who, CASE WHEN"
    " w.id IS NULL THEN 'measured' ELSE 'result corrected' END AS what, l.lot AS about, m.quantity AS"
    " field, coalesce(w.said, '') AS was, m.said AS is_, m.lab || ', sample ' || m.sample || CASE WHEN"
    " w.end_reason <> '' THEN ': ' || w.end_reason ELSE '' END AS why FROM measured m JOIN lot l ON"
    " l.id = m.lot_id LEFT JOIN measured w ON w.id = m.replaces"
    " UNION ALL SELECT m.lot_id, m.ended_ms, m.ended_by, 'result taken back', l.lot, m.quantity,"
    " m.said, '', m.lab || ', sample ' || m.sample || ': ' || coalesce(m.end_reason, '')"
    " FROM measured m JOIN lot l ON l.id = m.lot_id WHERE m.ended_ms IS NOT NULL"
    " AND NOT EXISTS(SELECT 1 FROM measured n WHERE n.replaces = m.id);";
