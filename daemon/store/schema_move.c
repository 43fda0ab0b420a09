/* Counts were kept by triggers, some of them on views, some by what wrote the complaint; now by
 * what writes it alone (store/move.h). A complaint can be withdrawn and a case be left empty; lots
 * whose packing time was corrected had left their complaints' counts at the old day, and a case
 * whose complaints had all moved stayed closed when it got one again. */
#include "store/schema.h"

/* statements laid out by hand */
/* clang-format off */

const char SCHEMA_MOVE[] =
    "DROP TRIGGER pattern_complaint_new; DROP TRIGGER pattern_complaint_was;"
    "DROP TRIGGER pattern_complaint_is; DROP TRIGGER pattern_complaint_gone;"
    "DROP TRIGGER pattern_share_new; DROP TRIGGER pattern_share_is; DROP TRIGGER pattern_share_gone;"
    "DROP TRIGGER pattern_open_new; DROP TRIGGER pattern_open_is;"
    "DROP TRIGGER pattern_lot_new; DROP TRIGGER pattern_lot_was; DROP TRIGGER pattern_lot_is;"
    "DROP TRIGGER pattern_lot_gone; DROP TRIGGER pattern_dispatch_new;"
    "DROP TRIGGER pattern_dispatch_is; DROP TRIGGER pattern_dispatch_gone;"
    "DROP TRIGGER IF EXISTS pattern_product_was; DROP TRIGGER IF EXISTS pattern_product_is;"
    "DROP VIEW pattern_add; DROP VIEW pattern_add_units;"
    "ALTER TABLE complaint ADD COLUMN withdrawn_ms INTEGER;"
    "CREATE TABLE complaint_case_next(id INTEGER PRIMARY KEY, symptom TEXT NOT NULL,"
    " lot_id INTEGER REFERENCES lot, opened_ms INTEGER NOT NULL, as_of_ms INTEGER NOT NULL,"
    " complaints INTEGER NOT NULL CHECK(complaints >= 0), packs INTEGER NOT NULL CHECK(packs >= 0),"
    " harm INTEGER NOT NULL DEFAULT 0, state TEXT NOT NULL DEFAULT 'open'"
    " CHECK(state IN ('open', 'settled', 'moved', 'empty')), revision INTEGER NOT NULL DEFAULT 0,"
    " top_cause TEXT, top_probability REAL CHECK(top_probability BETWEEN 0 AND 1),"
    " moved_to INTEGER REFERENCES complaint_case) STRICT;"
    "INSERT INTO complaint_case_next SELECT id, symptom, lot_id, opened_ms, as_of_ms, complaints,"
    " packs, harm, CASE WHEN state = 'moved' AND complaints > 0 THEN 'open' WHEN state = 'moved' AND"
    " moved_to IS NULL THEN 'empty' ELSE state END, revision, top_cause, top_probability,"
    " CASE WHEN complaints = 0 THEN moved_to END FROM complaint_case;"
    "DROP TABLE complaint_case; ALTER TABLE complaint_case_next RENAME TO complaint_case;"
    "UPDATE complaint_case SET state = 'settled' WHERE state = 'open' AND id IN"
    " (SELECT case_id FROM verdict WHERE reopened_ms IS NULL);"
    "CREATE UNIQUE INDEX case_lot ON complaint_case(lot_id, symptom) WHERE lot_id IS NOT NULL;"
    "CREATE INDEX case_state ON complaint_case(state, as_of_ms);"
    "CREATE INDEX case_moved_to ON complaint_case(moved_to) WHERE moved_to IS NOT NULL;"
    "CREATE INDEX case_newest ON complaint_case(as_of_ms, id) WHERE complaints > 0;"
    "CREATE INDEX case_urgent ON complaint_case(harm, complaints, id) WHERE complaints > 0;"
    /* the others are made anew, and counted by, when the daemon knows the plant's zone */
    "DROP VIEW pattern_place;"
    "CREATE VIEW pattern_place AS SELECT c.id AS complaint_id, c.case_id, c.lot_id, c.received_ms,"
    " c.symptom, " SCHEMA_WEEK_OF("c.received_ms") " AS received_week,"
    " coalesce(" SCHEMA_WEEK_OF("l.packed_from_ms") ", -1) AS made_week, l.line, l.shift, p.product,"
    " c.route FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
    " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
    " WHERE c.withdrawn_ms IS NULL;"
    "CREATE VIEW pattern_sent AS SELECT d.lot_id, d.route, d.store, d.at_ms,"
    " " SCHEMA_WEEK_OF("l.packed_from_ms") " AS week, 'route' AS factor, d.route AS level,"
    " d.units AS n FROM dispatch d JOIN lot l ON l.id = d.lot_id;"
    "UPDATE setting SET value = '' WHERE key = 'pattern/views';"
    "DELETE FROM pattern_open; INSERT INTO pattern_open SELECT " SCHEMA_WEEK_OF("opened_ms") ","
    " symptom, count(*) FROM complaint_case WHERE state = 'open' GROUP BY 1, 2;"
    "DELETE FROM company_count; INSERT INTO company_count SELECT c.symptom,"
    " (l.packed_from_ms - (l.packed_from_ms % 86400000 + 86400000) % 86400000) / 86400000,"
    " c.lot_id, c.received_ms, count(*) FROM complaint c JOIN lot l ON l.id = c.lot_id"
    " GROUP BY 1, 2, 3, 4;"
    "INSERT INTO company_day(symptom, packed_day, serial)"
    " SELECT DISTINCT symptom, packed_day, 1 FROM company_count WHERE true"
    " ON CONFLICT DO UPDATE SET serial = serial + 1;";
/* clang-format on */
