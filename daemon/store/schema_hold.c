/* Step 10: a hold is a row with its own end, so that several stand side by side on one lot; codes
 * on no record are held in the same table. Before, a lot had one list of holds and releases of
 * which the newest counted: a release ended all that stood, and one with nothing to end is kept as
 * a disposition of its own, with no reason to have been held. */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_HOLD[] =
    "DROP INDEX hold_lot; ALTER TABLE hold RENAME TO hold_was;"
    "CREATE TABLE hold(id INTEGER PRIMARY KEY, lot_id INTEGER REFERENCES lot, code TEXT NOT NULL,"
    " fold TEXT NOT NULL, reason TEXT NOT NULL, by_name TEXT NOT NULL, by_user TEXT NOT NULL DEFAULT"
    " '', case_id INTEGER REFERENCES complaint_case, at_ms INTEGER NOT NULL, disposition TEXT"
    " CHECK(disposition IN ('release', 'rework', 'divert', 'destroy')), end_reason TEXT, ended_by"
    " TEXT, ended_user TEXT, ended_ms INTEGER, CHECK((disposition IS NULL) = (ended_ms IS NULL)))"
    " STRICT;"
    "INSERT INTO hold(id, lot_id, code, fold, reason, by_name, at_ms, disposition, end_reason,"
    " ended_by, ended_ms) SELECT h.id, h.lot_id, l.lot, l.fold, h.reason, h.by_name, h.at_ms,"
    " CASE WHEN e.id IS NULL THEN NULL ELSE coalesce(e.disposition, 'release') END, e.reason,"
    " e.by_name, e.at_ms FROM hold_was h JOIN lot l ON l.id = h.lot_id LEFT JOIN hold_was e ON"
    " e.id = (SELECT r.id FROM hold_was r WHERE r.lot_id = h.lot_id AND r.what = 'release' AND"
    " (r.at_ms, r.id) > (h.at_ms, h.id) ORDER BY r.at_ms, r.id LIMIT 1) WHERE h.what = 'hold';"
    "INSERT INTO hold(id, lot_id, code, fold, reason, by_name, at_ms, disposition, end_reason,"
    " ended_by, ended_ms) SELECT h.id, h.lot_id, l.lot, l.fold, '', h.by_name, h.at_ms,"
    " coalesce(h.disposition, 'release'), h.reason, h.by_name, h.at_ms FROM hold_was h JOIN lot l ON"
    " l.id = h.lot_id WHERE h.what = 'release' AND coalesce((SELECT p.what FROM hold_was p WHERE"
    " p.lot_id = h.lot_id AND (p.at_ms, p.id) < (h.at_ms, h.id) ORDER BY p.at_ms DESC, p.id DESC"
    " LIMIT 1), 'release') = 'release';"
    "DROP TABLE hold_was;"
    "CREATE INDEX hold_lot ON hold(lot_id, at_ms);"
    "CREATE INDEX hold_code ON hold(fold) WHERE lot_id IS NULL;"
    "CREATE INDEX hold_at ON hold(at_ms);";
