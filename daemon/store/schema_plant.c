/* Step 17: lines, shifts, places, mixes and routes are a plant's; '' is that of records that name
 * none. What the weeks count is counted apart by plant, so that one plant's week is a part of all.
 */
#include "store/schema.h"

/* clang-format off */
#define PAIRS "'{\"' || replace(replace(trim(r.causes, ';'), ':', '\":'), ';', ',\"') || '}'"
#define LOT_OF(row) "(SELECT l.plant FROM lot l WHERE l.id = " row ".lot_id)"
/* the one that all its candidates share */
#define SHARED_BY_LOTS \
    "(SELECT CASE WHEN min(l.plant) = max(l.plant) THEN max(l.plant) END FROM complaint_lot w" \
    " JOIN lot l ON l.id = w.lot_id WHERE w.complaint_id = complaint.id)"

const char SCHEMA_PLANT_TABLES[] =
    "CREATE TABLE plantlog_next(place TEXT NOT NULL, quantity_id INTEGER NOT NULL REFERENCES"
    " quantity, plant TEXT NOT NULL DEFAULT '', line TEXT NOT NULL DEFAULT '', at_ms INTEGER NOT"
    " NULL, value REAL NOT NULL, note TEXT, PRIMARY KEY(place, quantity_id, plant, line, at_ms))"
    " STRICT, WITHOUT ROWID;"
    "INSERT INTO plantlog_next(place, quantity_id, line, at_ms, value, note)"
    " SELECT place, quantity_id, line, at_ms, value, note FROM plantlog;"
    "DROP TABLE plantlog; ALTER TABLE plantlog_next RENAME TO plantlog;"
    "ALTER TABLE corrective_action ADD COLUMN plant TEXT NOT NULL DEFAULT '';"
    /* lines of a plant, and of those the newest lots */
    "CREATE INDEX lot_plant ON lot(plant, line, packed_from_ms);"
    /* what is usual of a product at a plant: no row is read to know whose a lot is */
    "DROP INDEX lot_product;"
    "CREATE INDEX lot_product ON lot(product_id, packed_from_ms, fold, plant);"
    /* plant: whose it is (store/move.h); plant_said: what was named with it */
    "ALTER TABLE complaint ADD COLUMN plant TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE complaint ADD COLUMN plant_said TEXT;"
    "ALTER TABLE complaint_case ADD COLUMN plant TEXT NOT NULL DEFAULT '';"
    "UPDATE complaint SET plant = " LOT_OF("complaint") " WHERE coalesce(" LOT_OF("complaint") ","
    " '') <> '';"
    "UPDATE complaint SET plant = " SHARED_BY_LOTS " WHERE lot_id IS NULL AND"
    " coalesce(" SHARED_BY_LOTS ", '') <> '';"
    "UPDATE complaint_case SET plant = " LOT_OF("complaint_case") " WHERE"
    " coalesce(" LOT_OF("complaint_case") ", '') <> '';"
    "UPDATE complaint_case SET plant = (SELECT max(c.plant) FROM complaint c WHERE c.case_id ="
    " complaint_case.id) WHERE lot_id IS NULL AND EXISTS (SELECT 1 FROM complaint c WHERE"
    " c.case_id = complaint_case.id AND c.plant <> '');";

const char SCHEMA_PLANT_COUNTS[] =
    "CREATE TABLE pattern_open_next(week INTEGER NOT NULL, symptom TEXT NOT NULL, plant TEXT NOT NULL"
    " DEFAULT '', n INTEGER NOT NULL, PRIMARY KEY(week, symptom, plant)) STRICT, WITHOUT ROWID;"
    "INSERT INTO pattern_open_next(week, symptom, plant, n) SELECT " SCHEMA_WEEK_OF("opened_ms") ","
    " symptom, plant, count(*) FROM complaint_case WHERE state = 'open' GROUP BY 1, 2, 3;"
    "DROP TABLE pattern_open; ALTER TABLE pattern_open_next RENAME TO pattern_open;"
    "DROP VIEW pattern_part; DROP VIEW pattern_share;"
    "CREATE TABLE pattern_series_next(id INTEGER PRIMARY KEY, factor TEXT NOT NULL, level TEXT NOT"
    " NULL, plant TEXT NOT NULL DEFAULT '', symptom TEXT NOT NULL, UNIQUE(factor, level, plant,"
    " symptom)) STRICT;"
    /* of lots that name a plant all is counted again (pattern_cuts.c) */
    "INSERT INTO pattern_series_next(id, factor, level, symptom) SELECT id, factor, level, symptom"
    " FROM pattern_series WHERE NOT EXISTS (SELECT 1 FROM lot WHERE plant <> '');"
    "DROP TABLE pattern_series; ALTER TABLE pattern_series_next RENAME TO pattern_series;"
    "DELETE FROM pattern_received WHERE series_id NOT IN (SELECT id FROM pattern_series);"
    "DELETE FROM pattern_made WHERE series_id NOT IN (SELECT id FROM pattern_series);"
    "DELETE FROM pattern_units WHERE series_id NOT IN (SELECT id FROM pattern_series);"
    "UPDATE setting SET value = '' WHERE key = 'pattern/views';"
    /* as in step 15; a case's series are those of its plant */
    "CREATE VIEW pattern_share AS SELECT c.id AS case_id, s.id AS series_id, j.value AS n"
    " FROM complaint_case c LEFT JOIN verdict v ON v.case_id = c.id AND v.reopened_ms IS NULL"
    " LEFT JOIN ranking r ON r.case_id = c.id AND r.revision = c.revision AND v.id IS NULL"
    " CROSS JOIN json_each(CASE WHEN v.id IS NOT NULL THEN '{\"0\":1000000}'"
    " WHEN length(r.causes) > 1 THEN " PAIRS " ELSE '{}' END) j"
    " CROSS JOIN pattern_series s ON s.factor = 'cause' AND s.level = CASE WHEN v.id IS NULL THEN"
    " (SELECT k.name FROM cause k WHERE k.id = CAST(j.key AS INTEGER)) ELSE v.cause END"
    " AND s.plant = c.plant AND s.symptom = c.symptom WHERE j.value >= 100;";

/* The weeks' others as step 4 had them, each with its plant, until the daemon knows its zone and makes
 * those of its cuts. */
const char SCHEMA_PLANT_VIEWS[] =
    "DROP VIEW pattern_place; DROP VIEW pattern_packed; DROP VIEW pattern_sent;"
    "CREATE VIEW pattern_place AS SELECT c.id AS complaint_id, c.case_id, c.lot_id, c.received_ms,"
    " c.symptom, c.plant, " SCHEMA_WEEK_OF("c.received_ms") " AS received_week,"
    " coalesce(" SCHEMA_WEEK_OF("l.packed_from_ms") ", -1) AS made_week, l.line, l.shift, p.product,"
    " c.route FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
    " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
    " WHERE c.withdrawn_ms IS NULL;"
    "CREATE VIEW pattern_part AS SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week,"
    " c.made_week, f.factor, CASE f.factor WHEN '' THEN '' WHEN 'line' THEN c.line"
    " WHEN 'product' THEN c.product WHEN 'shift' THEN c.shift ELSE c.route END AS level,"
    " c.plant, c.symptom, 1 AS n FROM pattern_place c CROSS JOIN pattern_factor f"
    " WHERE f.factor = '' OR CASE f.factor WHEN 'line' THEN c.line WHEN 'product' THEN c.product"
    " WHEN 'shift' THEN c.shift ELSE c.route END <> ''"
    " UNION ALL SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week, c.made_week,"
    " s.factor, s.level, s.plant, s.symptom, h.n FROM pattern_place c CROSS JOIN pattern_share h"
    " ON h.case_id = c.case_id CROSS JOIN pattern_series s ON s.id = h.series_id;"
    "CREATE VIEW pattern_sent AS SELECT d.lot_id, d.route, d.store, d.at_ms,"
    " " SCHEMA_WEEK_OF("l.packed_from_ms") " AS week, 'route' AS factor, d.route AS level, l.plant,"
    " d.units AS n FROM dispatch d JOIN lot l ON l.id = d.lot_id;"
    "CREATE VIEW pattern_packed AS SELECT l.id AS lot_id,"
    " " SCHEMA_WEEK_OF("l.packed_from_ms") " AS week, f.factor, CASE f.factor WHEN '' THEN ''"
    " WHEN 'line' THEN l.line WHEN 'product' THEN p.product ELSE l.shift END AS level, l.plant,"
    " l.units AS n FROM lot l JOIN product p ON p.id = l.product_id CROSS JOIN pattern_factor f"
    " WHERE f.factor IN ('', 'line', 'product') OR (f.factor = 'shift' AND l.shift <> '')"
    " UNION ALL SELECT lot_id, week, factor, level, plant, n FROM pattern_sent;";
/* clang-format on */
