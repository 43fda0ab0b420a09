/* Words, states and weights that nothing else may stand for, and rows that are there when others
 * name them. Small tables only: SQLite checks a column only if the table is made with the check, so
 * each is made anew; records and complaints, the large ones, are checked by what writes them. */
#include "store/db.h"
#include "store/schema.h"

/* statements laid out by hand */
/* clang-format off */

/* Makes a table anew from what the old one holds; its indexes and triggers are gone with it. */
#define REMAKE(table, columns, with)                                                               \
    "CREATE TABLE " table "_next(" columns ") " with ";"                                           \
    "INSERT INTO " table "_next SELECT * FROM " table ";"                                          \
    "DROP TABLE " table "; ALTER TABLE " table "_next RENAME TO " table ";"
#define FLAG(name) name " INTEGER NOT NULL CHECK(" name " IN (0, 1))"

const char SCHEMA_CHECKS_CASES[] =
    "DROP TRIGGER pattern_complaint_new; DROP TRIGGER pattern_complaint_was;"
    "DROP TRIGGER pattern_complaint_is; DROP TRIGGER pattern_complaint_gone;"
    "DROP TRIGGER pattern_share_new; DROP TRIGGER pattern_share_is; DROP TRIGGER pattern_share_gone;"
    "DROP TRIGGER pattern_open_new; DROP TRIGGER pattern_open_is;"
    REMAKE("complaint_case",
           "id INTEGER PRIMARY KEY, symptom TEXT NOT NULL, lot_id INTEGER REFERENCES lot,"
           " opened_ms INTEGER NOT NULL, as_of_ms INTEGER NOT NULL,"
           " complaints INTEGER NOT NULL CHECK(complaints >= 0),"
           " packs INTEGER NOT NULL CHECK(packs >= 0), harm INTEGER NOT NULL DEFAULT 0,"
           " state TEXT NOT NULL DEFAULT 'open' CHECK(state IN ('open', 'settled', 'moved')),"
           " revision INTEGER NOT NULL DEFAULT 0, top_cause TEXT,"
           " top_probability REAL CHECK(top_probability BETWEEN 0 AND 1),"
           " moved_to INTEGER REFERENCES complaint_case",
           "STRICT")
    "CREATE UNIQUE INDEX case_lot ON complaint_case(lot_id, symptom) WHERE lot_id IS NOT NULL;"
    "CREATE INDEX case_state ON complaint_case(state, as_of_ms);"
    "CREATE INDEX case_moved_to ON complaint_case(moved_to) WHERE moved_to IS NOT NULL;"
    /* the two orders of case_list */
    "CREATE INDEX case_newest ON complaint_case(as_of_ms, id) WHERE complaints > 0;"
    "CREATE INDEX case_urgent ON complaint_case(harm, complaints, id) WHERE complaints > 0;";

const char SCHEMA_CHECKS_REST[] =
    REMAKE("complaint_lot",
           "complaint_id INTEGER NOT NULL REFERENCES complaint, lot_id INTEGER NOT NULL REFERENCES"
           " lot, weight REAL NOT NULL CHECK(weight BETWEEN 0 AND 1.000001),"
           " PRIMARY KEY(complaint_id, lot_id)", "STRICT, WITHOUT ROWID")
    "CREATE INDEX complaint_lot_of ON complaint_lot(lot_id);"
    REMAKE("verdict",
           "id INTEGER PRIMARY KEY, case_id INTEGER NOT NULL REFERENCES complaint_case, cause TEXT"
           " NOT NULL, confirmed_by TEXT NOT NULL CHECK(confirmed_by IN ('assay', 'inspection',"
           " 'reproduction', 'judgement')), note TEXT, by_name TEXT NOT NULL, at_ms INTEGER NOT"
           " NULL, revision INTEGER NOT NULL, reopened_ms INTEGER", "STRICT")
    "CREATE UNIQUE INDEX verdict_standing ON verdict(case_id) WHERE reopened_ms IS NULL;"
    "CREATE INDEX verdict_at ON verdict(at_ms);"
    REMAKE("hold",
           "id INTEGER PRIMARY KEY, lot_id INTEGER NOT NULL REFERENCES lot, what TEXT NOT NULL"
           " CHECK(what IN ('hold', 'release')), disposition TEXT, reason TEXT NOT NULL, by_name"
           " TEXT NOT NULL, at_ms INTEGER NOT NULL", "STRICT")
    "CREATE INDEX hold_lot ON hold(lot_id, at_ms);"
    REMAKE("erasure",
           "id INTEGER PRIMARY KEY, complaint_id INTEGER NOT NULL, at_ms INTEGER NOT NULL,"
           " basis TEXT NOT NULL CHECK(basis IN ('request', 'date'))", "STRICT")
    REMAKE("load_file",
           "id TEXT PRIMARY KEY, kind TEXT NOT NULL, source TEXT NOT NULL, path TEXT NOT NULL,"
           " applied INTEGER NOT NULL DEFAULT 0, new INTEGER NOT NULL DEFAULT 0, changed INTEGER"
           " NOT NULL DEFAULT 0, same INTEGER NOT NULL DEFAULT 0, state TEXT NOT NULL"
           " CHECK(state IN ('waiting', 'done', 'failed')), accepted_ms INTEGER NOT NULL", "STRICT")
    "CREATE INDEX load_file_waiting ON load_file(state) WHERE state = 'waiting';"
    REMAKE("work",
           "kind TEXT NOT NULL CHECK(kind IN ('rank', 'rematch')), subject_id INTEGER NOT NULL,"
           " due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0, seq INTEGER NOT NULL"
           " DEFAULT 1, PRIMARY KEY(kind, subject_id)", "STRICT, WITHOUT ROWID")
    "CREATE INDEX work_due ON work(kind, due_ms);"
    REMAKE("outbox",
           "id INTEGER PRIMARY KEY, event TEXT NOT NULL, case_id INTEGER REFERENCES complaint_case,"
           " revision INTEGER, message_id TEXT NOT NULL UNIQUE, payload TEXT NOT NULL, created_ms"
           " INTEGER NOT NULL, state TEXT NOT NULL DEFAULT 'new' CHECK(state IN ('new', 'open',"
           " 'sent')), sent_ms INTEGER", "STRICT")
    "CREATE INDEX outbox_state ON outbox(state, event); CREATE INDEX outbox_case ON outbox(case_id);"
    REMAKE("outbox_delivery",
           "mail_id INTEGER NOT NULL REFERENCES outbox, recipient TEXT NOT NULL, " FLAG("urgent") ","
           " state TEXT NOT NULL DEFAULT 'waiting' CHECK(state IN ('waiting', 'parked', 'sent')),"
           " since_ms INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT"
           " 0, last_error TEXT, sent_ms INTEGER, PRIMARY KEY(mail_id, recipient)",
           "STRICT, WITHOUT ROWID")
    "CREATE INDEX outbox_due ON outbox_delivery(urgent, due_ms) WHERE state = 'waiting';"
    "CREATE INDEX outbox_unsent ON outbox_delivery(mail_id) WHERE state <> 'sent';";

/* Counts that no migration had made of what was there before them. */
const char SCHEMA_CHECKS_COMPANY[] =
    "DROP TABLE company_count;"
    "CREATE TABLE company_count(symptom TEXT NOT NULL, packed_day INTEGER NOT NULL,"
    " lot_id INTEGER NOT NULL REFERENCES lot, received_ms INTEGER NOT NULL,"
    " n INTEGER NOT NULL CHECK(n >= 0), PRIMARY KEY(symptom, packed_day, lot_id, received_ms))"
    " STRICT, WITHOUT ROWID;"
    "CREATE INDEX company_count_lot ON company_count(lot_id, symptom);"
    "INSERT INTO company_count SELECT c.symptom, (l.packed_from_ms - (l.packed_from_ms % 86400000 +"
    " 86400000) % 86400000) / 86400000, c.lot_id, c.received_ms, count(*) FROM complaint c"
    " JOIN lot l ON l.id = c.lot_id GROUP BY 1, 2, 3, 4;"
    "INSERT INTO company_day(symptom, packed_day, serial)"
    " SELECT DISTINCT symptom, packed_day, 1 FROM company_count WHERE true"
    " ON CONFLICT DO UPDATE SET serial = serial + 1;";

/* What a caller is found by, each whole: one look-up instead of a walk over all contacts. */
const char SCHEMA_CHECKS_CONTACT[] =
    "CREATE TABLE contact_key(key TEXT NOT NULL, contact_id INTEGER NOT NULL REFERENCES contact ON"
    " DELETE CASCADE, PRIMARY KEY(key, contact_id)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX contact_key_of ON contact_key(contact_id);"
    "INSERT INTO contact_key WITH RECURSIVE piece(id, key, rest) AS (SELECT id, '',"
    " substr(fold, 2) FROM contact UNION ALL SELECT id, substr(rest, 1, instr(rest, char(10)) - 1),"
    " substr(rest, instr(rest, char(10)) + 1) FROM piece WHERE instr(rest, char(10)) > 0)"
    " SELECT DISTINCT key, id FROM piece WHERE key <> '';"
    "ALTER TABLE contact DROP COLUMN fold;";

/* clang-format on */
int schema_checks_rows(struct store *store, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM pragma_foreign_key_check WHERE \"table\" IN ('complaint_case',"
        " 'complaint_lot', 'verdict', 'hold', 'outbox', 'outbox_delivery', 'company_count', "
        "'contact_key')";
    int64_t strays = 0;
    int rc = db_number(store, SQL, NULL, &strays, err);
    if (!rc && strays)
        rc = error_set(err, ERROR_INTERNAL, "%lld rows name others that are not there",
                       (long long)strays);
    return rc;
}
