/* Append only: a migration that has shipped is never edited.
 *
 * Conventions: *_ms instants (UTC milliseconds), *_day civil dates (days since 1970-01-01), names
 * of records are the words of the files; ids are ours and never leave the process, except a case's,
 * which people say aloud as C<id>. Empty text stands for "not given" in key columns (a NULL would
 * make every row of a primary key distinct); NULL stands for unknown elsewhere. */
#include "store/schema.h"

static const char RECORDS[] =
    "CREATE TABLE product(id INTEGER PRIMARY KEY, product TEXT NOT NULL UNIQUE, name TEXT NOT NULL,"
    " family TEXT NOT NULL, shelf_life_days INTEGER NOT NULL, unit_g REAL NOT NULL, gtin TEXT) "
    "STRICT;"
    "CREATE INDEX product_gtin ON product(gtin) WHERE gtin IS NOT NULL;"
    /* quantity names are interned: readings are the largest table by far */
    "CREATE TABLE quantity(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;"
    "CREATE TABLE target(product_id INTEGER NOT NULL REFERENCES product, quantity_id INTEGER NOT "
    "NULL"
    " REFERENCES quantity, target REAL NOT NULL, low REAL, high REAL,"
    " PRIMARY KEY(product_id, quantity_id)) STRICT, WITHOUT ROWID;"
    /* fold: the code as look-ups see it (upper case, letters and digits only) */
    "CREATE TABLE lot(id INTEGER PRIMARY KEY, lot TEXT NOT NULL UNIQUE, fold TEXT NOT NULL,"
    " plant TEXT NOT NULL DEFAULT '', product_id INTEGER NOT NULL REFERENCES product,"
    " line TEXT NOT NULL, shift TEXT NOT NULL DEFAULT '', made_from_ms INTEGER NOT NULL,"
    " made_to_ms INTEGER NOT NULL, packed_from_ms INTEGER NOT NULL, packed_to_ms INTEGER NOT NULL,"
    " units INTEGER NOT NULL, code_day INTEGER NOT NULL) STRICT;"
    "CREATE INDEX lot_fold ON lot(fold);"
    "CREATE INDEX lot_packed ON lot(packed_from_ms);"
    "CREATE INDEX lot_product ON lot(product_id, packed_from_ms);"
    "CREATE INDEX lot_line ON lot(line, packed_from_ms);"
    "CREATE INDEX lot_code_day ON lot(code_day, product_id);"
    "CREATE TABLE mix(mix TEXT NOT NULL, lot_id INTEGER NOT NULL REFERENCES lot, at_ms INTEGER NOT "
    "NULL,"
    " flour_kg REAL NOT NULL, PRIMARY KEY(lot_id, mix)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX mix_mix ON mix(mix);"
    "CREATE TABLE material_use(lot_id INTEGER NOT NULL REFERENCES lot, material TEXT NOT NULL,"
    " material_lot TEXT NOT NULL, mix TEXT NOT NULL DEFAULT '', amount REAL, unit TEXT, active_pct "
    "REAL,"
    " supplier TEXT, PRIMARY KEY(lot_id, material, material_lot, mix)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX material_use_lot ON material_use(material, material_lot, lot_id);"
    "CREATE TABLE reading(lot_id INTEGER NOT NULL REFERENCES lot, quantity_id INTEGER NOT NULL"
    " REFERENCES quantity, at_ms INTEGER NOT NULL, mix TEXT NOT NULL DEFAULT '',"
    " point TEXT NOT NULL DEFAULT '', value REAL NOT NULL, note TEXT,"
    " PRIMARY KEY(lot_id, quantity_id, at_ms, mix, point)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE plantlog(place TEXT NOT NULL, quantity_id INTEGER NOT NULL REFERENCES quantity,"
    " line TEXT NOT NULL DEFAULT '', at_ms INTEGER NOT NULL, value REAL NOT NULL, note TEXT,"
    " PRIMARY KEY(place, quantity_id, line, at_ms)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE dispatch(lot_id INTEGER NOT NULL REFERENCES lot, route TEXT NOT NULL,"
    " store TEXT NOT NULL DEFAULT '', at_ms INTEGER NOT NULL, units INTEGER NOT NULL, transit_c "
    "REAL,"
    " PRIMARY KEY(lot_id, route, store, at_ms)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX dispatch_route ON dispatch(route, at_ms);"
    "CREATE INDEX dispatch_store ON dispatch(store, at_ms);"
    /* rows that a later load replaced: what they were, as JSON */
    "CREATE TABLE replaced_row(id INTEGER PRIMARY KEY, kind TEXT NOT NULL, row_key TEXT NOT NULL,"
    " was TEXT NOT NULL, replaced_ms INTEGER NOT NULL, source TEXT NOT NULL) STRICT;"
    "CREATE INDEX replaced_row_key ON replaced_row(kind, row_key);"
    /* an accepted file being applied slice by slice; done when applied = rows */
    "CREATE TABLE load_file(id TEXT PRIMARY KEY, kind TEXT NOT NULL, source TEXT NOT NULL,"
    " path TEXT NOT NULL, applied INTEGER NOT NULL DEFAULT 0, new INTEGER NOT NULL DEFAULT 0,"
    " changed INTEGER NOT NULL DEFAULT 0, same INTEGER NOT NULL DEFAULT 0, state TEXT NOT NULL,"
    " accepted_ms INTEGER NOT NULL) STRICT;"
    "CREATE INDEX load_file_waiting ON load_file(state) WHERE state = 'waiting';";

static const char COMPLAINTS[] =
    /* one case: all complaints with one symptom on one lot; lot unknown: one complaint */
    "CREATE TABLE complaint_case(id INTEGER PRIMARY KEY, symptom TEXT NOT NULL,"
    " lot_id INTEGER REFERENCES lot, opened_ms INTEGER NOT NULL, as_of_ms INTEGER NOT NULL,"
    " complaints INTEGER NOT NULL, packs INTEGER NOT NULL, harm INTEGER NOT NULL DEFAULT 0,"
    " state TEXT NOT NULL DEFAULT 'open', revision INTEGER NOT NULL DEFAULT 0,"
    " top_cause TEXT, top_probability REAL, moved_to INTEGER) STRICT;"
    "CREATE UNIQUE INDEX case_lot ON complaint_case(lot_id, symptom) WHERE lot_id IS NOT NULL;"
    "CREATE INDEX case_state ON complaint_case(state, as_of_ms);"
    "CREATE TABLE complaint(id INTEGER PRIMARY KEY, uuid TEXT NOT NULL UNIQUE,"
    " received_ms INTEGER NOT NULL, logged_ms INTEGER NOT NULL, channel TEXT NOT NULL,"
    " symptom TEXT NOT NULL, case_id INTEGER NOT NULL REFERENCES complaint_case,"
    " lot_id INTEGER REFERENCES lot, lot_text TEXT, product_id INTEGER REFERENCES product,"
    " code_day INTEGER, store TEXT, route TEXT, bought_day INTEGER, found_day INTEGER,"
    " packs INTEGER NOT NULL DEFAULT 1, units INTEGER, harm INTEGER NOT NULL DEFAULT 0,"
    " body TEXT NOT NULL) STRICT;" /* body: the complaint as sent, without contact */
    "CREATE INDEX complaint_of_case ON complaint(case_id);"
    "CREATE INDEX complaint_received ON complaint(received_ms);"
    "CREATE INDEX complaint_lot_id ON complaint(lot_id, symptom, received_ms);"
    "CREATE INDEX complaint_store ON complaint(store, received_ms) WHERE store IS NOT NULL;"
    "CREATE INDEX complaint_open_lot ON complaint(received_ms) WHERE lot_id IS NULL;"
    /* candidates of an inexact code; weights sum to at most 1 (the rest: none of these) */
    "CREATE TABLE complaint_lot(complaint_id INTEGER NOT NULL REFERENCES complaint,"
    " lot_id INTEGER NOT NULL REFERENCES lot, weight REAL NOT NULL,"
    " PRIMARY KEY(complaint_id, lot_id)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX complaint_lot_of ON complaint_lot(lot_id);"
    /* who called: apart from everything else, purged by date or on request */
    "CREATE TABLE contact(complaint_id INTEGER PRIMARY KEY REFERENCES complaint, body TEXT NOT "
    "NULL,"
    " fold TEXT NOT NULL, purge_after_ms INTEGER NOT NULL) STRICT;"
    "CREATE INDEX contact_purge ON contact(purge_after_ms);"
    "CREATE TABLE erasure(id INTEGER PRIMARY KEY, complaint_id INTEGER NOT NULL, at_ms INTEGER NOT "
    "NULL,"
    " basis TEXT NOT NULL) STRICT;";

static const char WORKINGS[] =
    /* kept = 1: left the house (mail, verdict) and stays; the newest of a case is always here */
    "CREATE TABLE ranking(case_id INTEGER NOT NULL REFERENCES complaint_case, revision INTEGER NOT "
    "NULL,"
    " as_of_ms INTEGER NOT NULL, rules TEXT NOT NULL, kept INTEGER NOT NULL DEFAULT 0,"
    " complaints INTEGER NOT NULL, body TEXT NOT NULL, PRIMARY KEY(case_id, revision)) STRICT,"
    " WITHOUT ROWID;"
    "CREATE TABLE verdict(id INTEGER PRIMARY KEY, case_id INTEGER NOT NULL REFERENCES "
    "complaint_case,"
    " cause TEXT NOT NULL, confirmed_by TEXT NOT NULL, note TEXT, by_name TEXT NOT NULL,"
    " at_ms INTEGER NOT NULL, revision INTEGER NOT NULL, reopened_ms INTEGER) STRICT;"
    "CREATE UNIQUE INDEX verdict_standing ON verdict(case_id) WHERE reopened_ms IS NULL;"
    "CREATE INDEX verdict_at ON verdict(at_ms);"
    "CREATE TABLE hold(id INTEGER PRIMARY KEY, lot_id INTEGER NOT NULL REFERENCES lot,"
    " what TEXT NOT NULL, disposition TEXT, reason TEXT NOT NULL, by_name TEXT NOT NULL,"
    " at_ms INTEGER NOT NULL) STRICT;"
    "CREATE INDEX hold_lot ON hold(lot_id, at_ms);"
    "CREATE TABLE corrective_action(id INTEGER PRIMARY KEY, cause TEXT, line TEXT, place TEXT,"
    " symptom TEXT, at_ms INTEGER NOT NULL, note TEXT NOT NULL, by_name TEXT NOT NULL,"
    " logged_ms INTEGER NOT NULL) STRICT;"
    /* work after a commit: a crash repeats it. seq grows when the subject changes again while
     * the work is under way, so that finishing the old round does not lose the new one */
    "CREATE TABLE work(kind TEXT NOT NULL, subject_id INTEGER NOT NULL, due_ms INTEGER NOT NULL,"
    " attempts INTEGER NOT NULL DEFAULT 0, seq INTEGER NOT NULL DEFAULT 1,"
    " PRIMARY KEY(kind, subject_id)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX work_due ON work(kind, due_ms);"
    "CREATE TABLE outbox(id INTEGER PRIMARY KEY, event TEXT NOT NULL, case_id INTEGER,"
    " revision INTEGER, message_id TEXT NOT NULL UNIQUE, payload TEXT NOT NULL,"
    " created_ms INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,"
    " state TEXT NOT NULL DEFAULT 'waiting', last_error TEXT, sent_ms INTEGER) STRICT;"
    "CREATE INDEX outbox_due ON outbox(state, due_ms);"
    "CREATE INDEX outbox_case ON outbox(case_id);"
    "CREATE TABLE setting(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;";

/* Counts of settled complaints by lot, in packing order; company_day's serials date caches of them
 * (row '' 0: the production records as a whole). */
static const char COMPANY[] =
    "CREATE TABLE company_count(symptom TEXT NOT NULL, packed_day INTEGER NOT NULL,"
    " lot_id INTEGER NOT NULL, received_ms INTEGER NOT NULL, n INTEGER NOT NULL,"
    " PRIMARY KEY(symptom, packed_day, lot_id, received_ms)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX company_count_lot ON company_count(lot_id, symptom);"
    "CREATE TABLE company_day(symptom TEXT NOT NULL, packed_day INTEGER NOT NULL,"
    " serial INTEGER NOT NULL, PRIMARY KEY(symptom, packed_day)) STRICT, WITHOUT ROWID;";

/* Many codes are compared to find the one a caller misread: the folded code stands in the index
 * entries, so that the lots themselves need not be read. */
static const char LOT_KEYS[] =
    "DROP INDEX lot_packed; CREATE INDEX lot_packed ON lot(packed_from_ms, fold);"
    "DROP INDEX lot_product; CREATE INDEX lot_product ON lot(product_id, packed_from_ms, fold);"
    "DROP INDEX lot_code_day; CREATE INDEX lot_code_day ON lot(code_day, product_id, fold);";

/* A report by the same person of the same thing is joined to the complaint it repeats: kept, but
 * counted by nothing, for nothing counts this table. The complaint then says what all of them said;
 * joined_first keeps what it said before. Contact data of each report has its own row. */
static const char JOINED[] =
    "CREATE TABLE joined(id INTEGER PRIMARY KEY, uuid TEXT NOT NULL UNIQUE,"
    " complaint_id INTEGER NOT NULL REFERENCES complaint, received_ms INTEGER NOT NULL,"
    " logged_ms INTEGER NOT NULL, joined_ms INTEGER NOT NULL, body TEXT NOT NULL) STRICT;"
    "CREATE INDEX joined_of ON joined(complaint_id);"
    "CREATE TABLE joined_first(complaint_id INTEGER PRIMARY KEY REFERENCES complaint,"
    " body TEXT NOT NULL) STRICT;"
    "CREATE TABLE contact_next(id INTEGER PRIMARY KEY, complaint_id INTEGER NOT NULL REFERENCES"
    " complaint, report TEXT NOT NULL DEFAULT '', body TEXT NOT NULL, fold TEXT NOT NULL,"
    " purge_after_ms INTEGER NOT NULL, UNIQUE(complaint_id, report)) STRICT;"
    "INSERT INTO contact_next(complaint_id, body, fold, purge_after_ms)"
    " SELECT complaint_id, body, fold, purge_after_ms FROM contact;"
    "DROP TABLE contact; ALTER TABLE contact_next RENAME TO contact;"
    "CREATE INDEX contact_purge ON contact(purge_after_ms);";

/* Each recipient of a mail is tried by itself. What had been parked is due again. */
static const char DELIVERIES[] =
    "CREATE TABLE outbox_next(id INTEGER PRIMARY KEY, event TEXT NOT NULL, case_id INTEGER,"
    " revision INTEGER, message_id TEXT NOT NULL UNIQUE, payload TEXT NOT NULL,"
    " created_ms INTEGER NOT NULL, state TEXT NOT NULL DEFAULT 'new', sent_ms INTEGER) STRICT;"
    "INSERT INTO outbox_next SELECT id, event, case_id, revision, message_id, payload, created_ms,"
    " CASE state WHEN 'sent' THEN 'sent' ELSE 'new' END, sent_ms FROM outbox;"
    "DROP TABLE outbox; ALTER TABLE outbox_next RENAME TO outbox;"
    "CREATE INDEX outbox_state ON outbox(state, event);"
    "CREATE INDEX outbox_case ON outbox(case_id);"
    "CREATE TABLE outbox_delivery(mail_id INTEGER NOT NULL REFERENCES outbox,"
    " recipient TEXT NOT NULL, urgent INTEGER NOT NULL, state TEXT NOT NULL DEFAULT 'waiting',"
    " since_ms INTEGER NOT NULL, due_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,"
    " last_error TEXT, sent_ms INTEGER, PRIMARY KEY(mail_id, recipient)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX outbox_due ON outbox_delivery(urgent, due_ms) WHERE state = 'waiting';"
    "CREATE INDEX outbox_unsent ON outbox_delivery(mail_id) WHERE state <> 'sent';";

/* How sure a complaint's lot is (store/lot_state.h). What was placed before the word existed may be
 * exact or not: it is matched again, as is all that is not exact. */
static const char STANDING[] =
    "ALTER TABLE complaint ADD COLUMN lot_state TEXT NOT NULL DEFAULT 'unknown';"
    "UPDATE complaint SET lot_state = CASE WHEN lot_id IS NOT NULL THEN 'likely' WHEN EXISTS"
    " (SELECT 1 FROM complaint_lot l WHERE l.complaint_id = complaint.id) THEN 'several'"
    " ELSE 'unknown' END;"
    "CREATE INDEX complaint_not_exact ON complaint(id, received_ms) WHERE lot_state <> 'exact';"
    "INSERT INTO work(kind, subject_id, due_ms) SELECT 'rematch', 0, 0"
    " WHERE EXISTS (SELECT 1 FROM complaint) ON CONFLICT DO NOTHING;"
    "CREATE INDEX case_moved_to ON complaint_case(moved_to) WHERE moved_to IS NOT NULL;"
    "CREATE TABLE complaint_change(id INTEGER PRIMARY KEY, complaint TEXT NOT NULL,"
    " at_ms INTEGER NOT NULL, by_name TEXT NOT NULL, reason TEXT NOT NULL, field TEXT NOT NULL,"
    " was TEXT NOT NULL, now TEXT NOT NULL) STRICT;"
    "CREATE INDEX complaint_change_of ON complaint_change(complaint);";

/* Adjacent parts of one number run in one transaction. */
static const struct migration MIGRATIONS[] = {
    {1, RECORDS, NULL},
    {1, COMPLAINTS, NULL},
    {1, WORKINGS, NULL},
    {2, COMPANY, NULL},
    {3, LOT_KEYS, NULL},
    {4, SCHEMA_PATTERN_TABLES, NULL},
    {4, SCHEMA_PATTERN_VIEWS, NULL},
    {4, SCHEMA_PATTERN_SUMS, NULL},
    {4, SCHEMA_PATTERN_COMPLAINTS, NULL},
    {4, SCHEMA_PATTERN_LOTS, NULL},
    {5, JOINED, NULL},
    {6, DELIVERIES, NULL},
    {7, STANDING, NULL},
    {8, SCHEMA_RANKING_TABLES, NULL},
    {8, NULL, schema_ranking_move},
    {8, SCHEMA_RANKING_WITHOUT_BODY, NULL},
    {9, SCHEMA_CHECKS_CASES, NULL},
    {9, SCHEMA_PATTERN_COMPLAINTS, NULL},
    {9, SCHEMA_CHECKS_REST, NULL},
    {9, SCHEMA_CHECKS_COMPANY, NULL},
    {9, SCHEMA_CHECKS_CONTACT, NULL},
    {9, NULL, schema_checks_rows},
    {10, SCHEMA_MOVE, NULL},
    {10, SCHEMA_HARM_CASES, NULL},
    {10, SCHEMA_HOLD, NULL},
    {10, SCHEMA_ENTRY, NULL},
    {10, SCHEMA_ENTRY_ERASED, NULL},
    {10, SCHEMA_CARE, NULL},
    {10, SCHEMA_RULE_SET, NULL},
    {11, SCHEMA_MATERIAL_FIRST, NULL},
    {11, SCHEMA_COMPANY_LOTS, NULL},
    {11, SCHEMA_AGAIN, NULL},
    {11, SCHEMA_LIFE, NULL},
    {12, SCHEMA_SIZE_RANKING, NULL},
    {12, SCHEMA_SIZE_VIEWS, NULL},
    {12, SCHEMA_SIZE_ENTRY, NULL},
    {12, SCHEMA_MEASURED, NULL},
    {12, SCHEMA_SINCE, NULL},
    {12, SCHEMA_NAME, NULL},
    {12, SCHEMA_ATTACHED, NULL},
    {12, SCHEMA_FOLLOW, NULL},
    {12, SCHEMA_MASKS, NULL},
    {12, SCHEMA_HARM_TOLD, NULL},
    {13, SCHEMA_MASKS, NULL},
    {13, SCHEMA_GATHER, NULL},
    {13, SCHEMA_CAME, NULL},
    {13, SCHEMA_COVER, NULL},
    {14, SCHEMA_BULK, NULL},
    {14, SCHEMA_MASKS, NULL},
    {14, SCHEMA_PRESERVER, NULL},
    {14, SCHEMA_NOTED, NULL},
    {15, SCHEMA_TARGET, NULL},
    {15, SCHEMA_SHARE, NULL},
    {16, SCHEMA_RETAILER, NULL},
    {16, SCHEMA_WORDS_ENTRY, NULL},
    {16, NULL, schema_words_move},
    {16, NULL, schema_mail_move},
    {16, SCHEMA_MAIL_ONCE, NULL},
    {16, SCHEMA_FLAT, NULL},
    {17, SCHEMA_PLANT_TABLES, NULL},
    {17, SCHEMA_PLANT_COUNTS, NULL},
    {17, SCHEMA_PLANT_VIEWS, NULL},
    {18, SCHEMA_HOLD_PLANT, NULL},
    {19, SCHEMA_CLOCK, NULL},
};

const struct migration *schema_migrations(size_t *ret_count)
{
    *ret_count = sizeof MIGRATIONS / sizeof MIGRATIONS[0];
    return MIGRATIONS;
}

int schema_version(void)
{
    return MIGRATIONS[sizeof MIGRATIONS / sizeof MIGRATIONS[0] - 1].number;
}
