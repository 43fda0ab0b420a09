/* What a complaint costs on disk. A row a cause of each ranking took more room than the complaint's
 * words: a ranking's causes are one text now, probabilities in millionths. What the weeks count of
 * a case's causes is read from it, and was kept a second time. */
#include "store/schema.h"

/* clang-format off */
/* `;CAUSE:MILLIONTHS` for each, likeliest first, and `;` at the end (store/ranking_pack.h). */
const char SCHEMA_SIZE_RANKING[] =
    "CREATE TABLE ranking_next(case_id INTEGER NOT NULL REFERENCES complaint_case,"
    " revision INTEGER NOT NULL, as_of_ms INTEGER NOT NULL,"
    " rule_set_id INTEGER NOT NULL REFERENCES rule_set, kept INTEGER NOT NULL DEFAULT 0,"
    " complaints INTEGER NOT NULL, causes TEXT NOT NULL DEFAULT ';', items TEXT NOT NULL DEFAULT '',"
    " why TEXT, lot TEXT, moved_here INTEGER NOT NULL DEFAULT 0, PRIMARY KEY(case_id, revision))"
    " STRICT;"
    "INSERT INTO ranking_next SELECT r.case_id, r.revision, r.as_of_ms, r.rule_set_id, r.kept,"
    " r.complaints, coalesce((SELECT group_concat(';' || cause_id || ':' ||"
    " CAST(round(probability * 1e6) AS INTEGER), '') FROM (SELECT cause_id, probability FROM"
    " ranking_cause c WHERE c.case_id = r.case_id AND c.revision = r.revision ORDER BY place)), '')"
    " || ';', r.items, r.why, r.lot, r.moved_here FROM ranking r ORDER BY r.case_id, r.revision;"
    "DROP TABLE ranking_cause; DROP TABLE ranking; ALTER TABLE ranking_next RENAME TO ranking;"
    "CREATE INDEX ranking_mailed ON ranking(as_of_ms) WHERE why IS NOT NULL;";

/* What came as it was first kept is in the complaint's own row, until that changes: then in `sent`. */
const char SCHEMA_SIZE_ENTRY[] =
    "CREATE TABLE entry_next(id INTEGER PRIMARY KEY, report TEXT NOT NULL UNIQUE,"
    " logged_by TEXT NOT NULL, ticket TEXT, sent TEXT NOT NULL, taken TEXT NOT NULL) STRICT;"
    "INSERT INTO entry_next SELECT e.id, e.report, e.logged_by, e.ticket, CASE WHEN e.taken = '[]'"
    " AND e.sent = coalesce(j.body, c.body, '') THEN '' ELSE e.sent END, e.taken FROM entry e"
    " LEFT JOIN complaint c ON c.uuid = e.report LEFT JOIN joined j ON j.uuid = e.report"
    " ORDER BY e.id;"
    "DROP TABLE entry; ALTER TABLE entry_next RENAME TO entry;"
    "CREATE INDEX entry_ticket ON entry(ticket) WHERE ticket IS NOT NULL;";

/* Where in the causes one begins, behind its number; what stands there; how many stand before it. */
#define MARK "(';' || k.id || ':')"
#define BEFORE "substr(r.causes, 1, instr(r.causes, " MARK ") - 1)"
#define BEHIND "substr(r.causes, instr(r.causes, " MARK ") + length(" MARK "))"
#define MILLIONTHS "CAST(substr(" BEHIND ", 1, instr(" BEHIND ", ';') - 1) AS INTEGER)"

/* Another engine has another word for instr() and the rest stays as it is. */
const char SCHEMA_SIZE_VIEWS[] =
    "CREATE VIEW ranking_cause AS SELECT r.case_id, r.revision, length(" BEFORE ") -"
    " length(replace(" BEFORE ", ';', '')) AS place, k.id AS cause_id, " MILLIONTHS " AS n,"
    " " MILLIONTHS " / 1000000.0 AS probability FROM ranking r CROSS JOIN cause k"
    " WHERE instr(r.causes, " MARK ") > 0;"
    /* what a case's causes have of each of its complaints: the verdict's all of it, or else as the
     * newest ranking says; below 100 millionths a cause is not worth a row */
    "DROP TABLE pattern_share;"
    "CREATE VIEW pattern_share AS SELECT case_id, series_id, n FROM (SELECT c.id AS case_id,"
    " s.id AS series_id, CASE WHEN v.cause = s.level THEN 1000000 WHEN v.id IS NULL THEN"
    " (SELECT " MILLIONTHS " FROM cause k CROSS JOIN ranking r WHERE k.name = s.level AND"
    " r.case_id = c.id AND r.revision = c.revision AND instr(r.causes, " MARK ") > 0) END AS n"
    " FROM complaint_case c LEFT JOIN verdict v ON v.case_id = c.id AND v.reopened_ms IS NULL"
    " CROSS JOIN pattern_series s WHERE s.factor = 'cause' AND s.symptom = c.symptom AND"
    " (c.revision > 0 OR v.id IS NOT NULL)) WHERE n >= 100;";
/* clang-format on */
