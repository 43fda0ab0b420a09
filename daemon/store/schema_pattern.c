/* Counts by ISO week of the plant's zone. Kept by triggers once; schema_move.c drops them and
 * says what keeps the counts now.
 *
 * A week is the number of its Monday, (days since 1970 + 3) / 7; pattern_week holds where each
 * starts, in UTC until the plant's zone is set. Week -1: before all of them, or not known. A series
 * is a level of a factor ('' '': all together) and a symptom ('': units). n counts complaints; of
 * causes, millionths of one. */
#include "store/schema.h"

/* statements laid out by hand */
/* clang-format off */

#define WEEK_OF(ms) SCHEMA_WEEK_OF(ms)

const char SCHEMA_PATTERN_TABLES[] =
    "CREATE TABLE pattern_week(week INTEGER PRIMARY KEY, from_ms INTEGER NOT NULL UNIQUE) STRICT;"
    "INSERT INTO pattern_week VALUES(-1, -9223372036854775807);"
    "INSERT INTO pattern_week WITH RECURSIVE w(n) AS (SELECT 1566 UNION ALL SELECT n + 1 FROM w"
    " WHERE n < 6800) SELECT n, (n * 7 - 3) * 86400000 FROM w;"
    "CREATE TABLE pattern_factor(factor TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;"
    "INSERT INTO pattern_factor VALUES(''), ('line'), ('product'), ('shift'), ('route');"
    "CREATE TABLE pattern_series(id INTEGER PRIMARY KEY, factor TEXT NOT NULL, level TEXT NOT NULL,"
    " symptom TEXT NOT NULL, UNIQUE(factor, level, symptom)) STRICT;"
    /* complaints by week of receipt */
    "CREATE TABLE pattern_received(week INTEGER NOT NULL, series_id INTEGER NOT NULL,"
    " n INTEGER NOT NULL, PRIMARY KEY(week, series_id)) STRICT, WITHOUT ROWID;"
    /* the same by week of packing, apart by week of receipt */
    "CREATE TABLE pattern_made(series_id INTEGER NOT NULL, week INTEGER NOT NULL,"
    " received_week INTEGER NOT NULL, n INTEGER NOT NULL,"
    " PRIMARY KEY(series_id, week, received_week)) STRICT, WITHOUT ROWID;"
    /* units by week of packing */
    "CREATE TABLE pattern_units(week INTEGER NOT NULL, series_id INTEGER NOT NULL,"
    " n INTEGER NOT NULL, PRIMARY KEY(week, series_id)) STRICT, WITHOUT ROWID;"
    /* a case's complaints by weeks, and the share of each of them that its causes have */
    "CREATE TABLE pattern_case(case_id INTEGER NOT NULL, received_week INTEGER NOT NULL,"
    " made_week INTEGER NOT NULL, n INTEGER NOT NULL,"
    " PRIMARY KEY(case_id, received_week, made_week)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE pattern_share(case_id INTEGER NOT NULL, series_id INTEGER NOT NULL,"
    " n INTEGER NOT NULL, PRIMARY KEY(case_id, series_id)) STRICT, WITHOUT ROWID;"
    /* open cases by the week they were opened */
    "CREATE TABLE pattern_open(week INTEGER NOT NULL, symptom TEXT NOT NULL, n INTEGER NOT NULL,"
    " PRIMARY KEY(week, symptom)) STRICT, WITHOUT ROWID;"
    /* how good the ranking was that a verdict met: place and probability of what was confirmed */
    "CREATE TABLE pattern_verdict(verdict_id INTEGER PRIMARY KEY, place INTEGER NOT NULL,"
    " probability REAL NOT NULL, brier REAL NOT NULL) STRICT;";

/* What each complaint and lot counts for: the one definition that counting and recount share. */
const char SCHEMA_PATTERN_VIEWS[] =
    "CREATE VIEW pattern_place AS SELECT c.id AS complaint_id, c.case_id, c.lot_id, c.received_ms,"
    " c.symptom, " WEEK_OF("c.received_ms") " AS received_week,"
    " coalesce(" WEEK_OF("l.packed_from_ms") ", -1) AS made_week, l.line, l.shift, p.product,"
    " c.route FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
    " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id);"
    "CREATE VIEW pattern_part AS SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week,"
    " c.made_week, f.factor, CASE f.factor WHEN '' THEN '' WHEN 'line' THEN c.line"
    " WHEN 'product' THEN c.product WHEN 'shift' THEN c.shift ELSE c.route END AS level,"
    " c.symptom, 1 AS n FROM pattern_place c CROSS JOIN pattern_factor f"
    " WHERE f.factor = '' OR CASE f.factor WHEN 'line' THEN c.line WHEN 'product' THEN c.product"
    " WHEN 'shift' THEN c.shift ELSE c.route END <> ''"
    " UNION ALL SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week, c.made_week,"
    " s.factor, s.level, s.symptom, h.n FROM pattern_place c CROSS JOIN pattern_share h"
    " ON h.case_id = c.case_id CROSS JOIN pattern_series s ON s.id = h.series_id;"
    "CREATE VIEW pattern_packed AS SELECT l.id AS lot_id,"
    " " WEEK_OF("l.packed_from_ms") " AS week, f.factor, CASE f.factor WHEN '' THEN ''"
    " WHEN 'line' THEN l.line WHEN 'product' THEN p.product ELSE l.shift END AS level,"
    " l.units AS n FROM lot l JOIN product p ON p.id = l.product_id CROSS JOIN pattern_factor f"
    " WHERE f.factor IN ('', 'line', 'product') OR (f.factor = 'shift' AND l.shift <> '')"
    " UNION ALL SELECT d.lot_id, " WEEK_OF("l.packed_from_ms") ", 'route', d.route, d.units"
    " FROM dispatch d JOIN lot l ON l.id = d.lot_id;";

/* Writing to these adds to the counts. */
#define ADD " ON CONFLICT DO UPDATE SET n = n + excluded.n;"
#define SERIES_OF(symptom) \
    " FROM pattern_series WHERE factor = NEW.factor AND level = NEW.level AND symptom = " symptom

const char SCHEMA_PATTERN_SUMS[] =
    "CREATE VIEW pattern_add AS SELECT received_week, made_week, factor, level, symptom, n"
    " FROM pattern_part;"
    "CREATE TRIGGER pattern_add_row INSTEAD OF INSERT ON pattern_add BEGIN"
    " INSERT INTO pattern_series(factor, level, symptom) VALUES(NEW.factor, NEW.level, NEW.symptom)"
    " ON CONFLICT DO NOTHING;"
    " INSERT INTO pattern_received SELECT NEW.received_week, id, NEW.n" SERIES_OF("NEW.symptom") ADD
    " INSERT INTO pattern_made SELECT id, NEW.made_week, NEW.received_week, NEW.n"
    SERIES_OF("NEW.symptom") ADD " END;"
    "CREATE VIEW pattern_add_units AS SELECT week, factor, level, n FROM pattern_packed;"
    "CREATE TRIGGER pattern_add_units_row INSTEAD OF INSERT ON pattern_add_units BEGIN"
    " INSERT INTO pattern_series(factor, level, symptom) VALUES(NEW.factor, NEW.level, '')"
    " ON CONFLICT DO NOTHING;"
    " INSERT INTO pattern_units SELECT NEW.week, id, NEW.n" SERIES_OF("''") ADD " END;";

#define COUNT(sign, where) \
    "INSERT INTO pattern_add SELECT received_week, made_week, factor, level, symptom, " sign "n" \
    " FROM pattern_part WHERE " where ";" \
    "INSERT INTO pattern_case SELECT case_id, received_week, made_week, " sign "1" \
    " FROM pattern_place WHERE " where ADD
#define UNITS(sign, where) \
    "INSERT INTO pattern_add_units SELECT week, factor, level, " sign "n FROM pattern_packed" \
    " WHERE " where ";"
#define DISPATCH(row, sign) \
    "INSERT INTO pattern_add_units SELECT " WEEK_OF("packed_from_ms") ", 'route', " row ".route," \
    " " sign row ".units FROM lot WHERE id = " row ".lot_id;"
#define SHARE(row, sign) \
    "INSERT INTO pattern_received SELECT received_week, " row ".series_id," \
    " " sign row ".n * n FROM pattern_case WHERE case_id = " row ".case_id" ADD \
    "INSERT INTO pattern_made SELECT " row ".series_id, made_week, received_week," \
    " " sign row ".n * n FROM pattern_case WHERE case_id = " row ".case_id" ADD
#define OPEN(row, sign) \
    "INSERT INTO pattern_open SELECT " WEEK_OF(row ".opened_ms") ", " row ".symptom, " sign "1" \
    " WHERE " row ".state = 'open'" ADD

#define TRIGGER(name, when, body) "CREATE TRIGGER pattern_" name " " when " BEGIN " body " END;"
#define COMPLAINT_FACTS "received_ms, symptom, case_id, lot_id, product_id, route"
#define LOT_FACTS "product_id, line, shift, packed_from_ms, units"

const char SCHEMA_PATTERN_COMPLAINTS[] =
    TRIGGER("complaint_new", "AFTER INSERT ON complaint", COUNT("", "complaint_id = NEW.id"))
    TRIGGER("complaint_was", "BEFORE UPDATE OF " COMPLAINT_FACTS " ON complaint",
            COUNT("-", "complaint_id = OLD.id"))
    TRIGGER("complaint_is", "AFTER UPDATE OF " COMPLAINT_FACTS " ON complaint",
            COUNT("", "complaint_id = NEW.id"))
    TRIGGER("complaint_gone", "BEFORE DELETE ON complaint", COUNT("-", "complaint_id = OLD.id"))
    TRIGGER("share_new", "AFTER INSERT ON pattern_share", SHARE("NEW", ""))
    TRIGGER("share_is", "AFTER UPDATE ON pattern_share", SHARE("OLD", "-") SHARE("NEW", ""))
    TRIGGER("share_gone", "AFTER DELETE ON pattern_share", SHARE("OLD", "-"))
    TRIGGER("open_new", "AFTER INSERT ON complaint_case", OPEN("NEW", ""))
    TRIGGER("open_is", "AFTER UPDATE OF state, opened_ms ON complaint_case"
            " WHEN OLD.state <> NEW.state OR OLD.opened_ms <> NEW.opened_ms",
            OPEN("OLD", "-") OPEN("NEW", ""));

const char SCHEMA_PATTERN_LOTS[] =
    TRIGGER("lot_new", "AFTER INSERT ON lot", UNITS("", "lot_id = NEW.id"))
    TRIGGER("lot_was", "BEFORE UPDATE OF " LOT_FACTS " ON lot",
            UNITS("-", "lot_id = OLD.id") COUNT("-", "lot_id = OLD.id"))
    TRIGGER("lot_is", "AFTER UPDATE OF " LOT_FACTS " ON lot",
            UNITS("", "lot_id = NEW.id") COUNT("", "lot_id = NEW.id"))
    TRIGGER("lot_gone", "BEFORE DELETE ON lot", UNITS("-", "lot_id = OLD.id"))
    TRIGGER("dispatch_new", "AFTER INSERT ON dispatch", DISPATCH("NEW", ""))
    TRIGGER("dispatch_is", "AFTER UPDATE ON dispatch", DISPATCH("OLD", "-") DISPATCH("NEW", ""))
    TRIGGER("dispatch_gone", "AFTER DELETE ON dispatch", DISPATCH("OLD", "-"));
/* clang-format on */
