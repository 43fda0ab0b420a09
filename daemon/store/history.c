#include "store/history.h"
#include "store/db.h"
#include "store/outbox.h"

/* Each part: at, by, what, complaint or lot, field, was, is, why, number among those of one time.
 */

/* Complaints that are, or were once, in the case, and the reports joined to them. */
#define WITH_OWN "WITH own(id) AS (" COMPLAINTS_OF_CASE ") "
#define OWN "SELECT id FROM own"
#define COMPLAINTS_OF_CASE                                                                         \
    "SELECT id FROM complaint WHERE case_id = ?1 UNION SELECT c.id FROM complaint_change k"        \
    " JOIN complaint c ON c.uuid = k.complaint WHERE k.field = 'case' AND k.was = 'C' || ?1"
#define COMPLAINT "SELECT ?1"

#define LOGGED(which)                                                                              \
    "SELECT c.logged_ms AS at, e.logged_by AS who, 'logged' AS what, c.uuid AS about, '' AS "      \
    "field,"                                                                                       \
    " '' AS was, '' AS is_, c.channel AS why, 0 AS nr FROM complaint c"                            \
    " LEFT JOIN entry e ON e.report = c.uuid WHERE c.id IN (" which ")"                            \
    " UNION ALL SELECT j.logged_ms, e.logged_by, 'logged', j.uuid, '', '', '', '', 0"              \
    " FROM joined j JOIN complaint c ON c.id = j.complaint_id LEFT JOIN entry e"                   \
    " ON e.report = j.uuid WHERE c.id IN (" which ")"                                              \
    " UNION ALL SELECT j.joined_ms, CASE WHEN j.joined_ms = j.logged_ms THEN (SELECT e.logged_by"  \
    " FROM entry e WHERE e.report = j.uuid) END, 'joined', j.uuid, '', '', c.uuid, '', 0"          \
    " FROM joined j JOIN complaint c ON c.id = j.complaint_id WHERE c.id IN (" which ") AND NOT"   \
    " EXISTS(SELECT 1 FROM complaint_change k WHERE k.complaint = j.uuid AND k.field = 'joined'"   \
    " AND k.at_ms = j.joined_ms)"
#define CHANGED(which)                                                                             \
    " UNION ALL SELECT k.at_ms, k.by_name, CASE WHEN k.field IN ('lot', 'lot_state', 'case') THEN" \
    " 'moved' WHEN k.field = 'joined' THEN CASE WHEN k.now <> '' THEN 'joined' ELSE 'separated' "  \
    "END"                                                                                          \
    " WHEN k.field = 'harm' AND k.now = '\"possible\"' THEN 'spoke of harm'"                       \
    " WHEN k.field <> 'withdrawn' THEN 'corrected' WHEN k.now <> '' THEN 'withdrawn' ELSE"         \
    " 'brought back' END, k.complaint, CASE k.field WHEN 'joined' THEN '' ELSE k.field END, "      \
    "k.was, k.now,"                                                                                \
    " CASE k.field WHEN 'joined' THEN '' ELSE k.reason END, k.id FROM (SELECT uuid FROM "          \
    "complaint WHERE id IN "                                                                       \
    "(" which ") UNION ALL SELECT uuid FROM joined WHERE complaint_id IN (" which ")) r"           \
    " JOIN complaint_change k ON k.complaint = r.uuid"
#define ERASED(which)                                                                              \
    " UNION ALL SELECT r.at_ms, '', 'contact erased', c.uuid, '', '', '', CASE r.basis WHEN"       \
    " 'said' THEN 'in its texts' ELSE r.basis END, 0"                                              \
    " FROM erased r JOIN complaint c ON c.uuid = r.report WHERE c.id IN (" which ")"
/* A mail that waits, or that only the plant's own program took, was mailed to nobody. */
#define MAILED                                                                                     \
    " UNION ALL SELECT o.sent_ms, '', 'mailed', '', o.event, '', '', coalesce(r.why, ''), 0"       \
    " FROM outbox o LEFT JOIN ranking r ON r.case_id = o.case_id AND r.revision = o.revision"      \
    " WHERE o.case_id = ?1 AND o.event NOT IN ('digest', 'due') AND (o.state = 'sent' OR "         \
    "EXISTS(SELECT 1 FROM outbox_delivery d WHERE"                                                 \
    " d.mail_id = o.id AND d.state = 'sent' AND d.recipient <> '" OUTBOX_HOOK "'))"
#define VERDICTS                                                                                   \
    " UNION ALL SELECT v.at_ms, v.by_name, 'settled', '', '', '', v.cause, v.confirmed_by, 0"      \
    " FROM verdict v WHERE v.case_id = ?1"                                                         \
    " UNION ALL SELECT v.reopened_ms, '', 'reopened', '', '', v.cause, '', coalesce(v.note, ''),"  \
    " 0 FROM verdict v WHERE v.case_id = ?1 AND v.reopened_ms IS NOT NULL"
/* A release of several holds is told once; what was decided of a lot that nobody held has no hold.
 */
#define HELD(which)                                                                                \
    " UNION ALL SELECT h.at_ms, h.by_name, 'held', h.code, '', '', '', h.reason, 0 FROM hold h"    \
    " WHERE h.reason <> '' AND (" which ")"                                                        \
    " UNION ALL SELECT DISTINCT h.ended_ms, h.ended_by, 'released', h.code, '', '', "              \
    "h.disposition,"                                                                               \
    " h.end_reason, 0 FROM hold h WHERE h.ended_ms IS NOT NULL AND (" which ")"
/* Of its own lot, and of others for its sake. */
#define HELD_OF_CASE                                                                               \
    HELD("h.lot_id = (SELECT lot_id FROM complaint_case WHERE id = ?1) OR h.case_id IN (SELECT"    \
         " id FROM complaint_case WHERE id = ?1 OR moved_to = ?1)")
/* Results of a laboratory: given, given otherwise, taken back. */
#define MEASURED(lot)                                                                              \
    " UNION ALL SELECT at_ms, who, what, about, field, was, is_, why, 0 FROM measured_event"       \
    " WHERE lot_id = " lot
/* What was done about the cause that was confirmed, or about its line, since the case was opened.
 */
#define ACTIONS                                                                                    \
    " UNION ALL SELECT a.logged_ms, a.by_name, 'action', '', '', '', coalesce(a.cause, a.line,"    \
    " a.place, ''), a.note, 0 FROM complaint_case k JOIN corrective_action a ON"                   \
    " a.at_ms >= k.opened_ms AND (a.symptom IS NULL OR a.symptom = k.symptom) LEFT JOIN lot l ON"  \
    " l.id = k.lot_id WHERE k.id = ?1 AND a.plant IN ('', k.plant)"                                \
    " AND (a.line = l.line OR a.cause IN (SELECT v.cause"                                          \
    " FROM verdict v WHERE v.case_id = k.id AND v.reopened_ms IS NULL))"
/* What a person noted, decided or answered, or the rules moved; of a report only what is about it.
 */
#define FOLLOWED(which)                                                                            \
    " UNION ALL SELECT e.at_ms, e.by_name, e.what, e.report, '', e.was, e.now, e.text, 0 FROM"     \
    " follow_entry e WHERE " which
#define FOLLOWED_CASE                                                                              \
    FOLLOWED("e.case_id IN (SELECT id FROM complaint_case WHERE id = ?1 OR moved_to = ?1)")
#define FOLLOWED_COMPLAINT                                                                         \
    FOLLOWED("e.report <> '' AND e.report IN (SELECT uuid FROM complaint WHERE id = ?1 UNION ALL"  \
             " SELECT uuid FROM joined WHERE complaint_id = ?1)")
#define RECORDS                                                                                    \
    "SELECT p.replaced_ms AS at, '' AS who, 'record changed' AS what, l.lot AS about,"             \
    " p.kind AS field, p.was AS was, coalesce(p.now, '') AS is_, p.source AS why, 0 AS nr"         \
    " FROM lot l JOIN replaced_row p ON p.kind IN ('lots', 'mixes', 'uses', 'readings', "          \
    "'dispatch')"                                                                                  \
    " AND p.row_key >= ?2 AND p.row_key < ?2 || '~' WHERE l.id = ?1"
#define OF_LOT                                                                                     \
    " UNION ALL SELECT k.at_ms, k.by_name, 'moved', k.complaint, k.field, k.was, k.now, k.reason," \
    " k.id FROM complaint_change k JOIN lot l ON l.lot = k.was OR l.lot = k.now"                   \
    " WHERE k.field = 'lot' AND l.id = ?1"

#define ATTACHED(where)                                                                            \
    " UNION ALL SELECT at_ms, who, what, '', '', was, is_, why, 0 FROM attached_event "            \
    "WHERE " where

#define IN_ORDER " ORDER BY 1 NULLS FIRST, 9"

/* How the keys of its rows begin: its code, and then either the end of the key or more of it. */
static int key_of_lot(struct store *store, int64_t id, char *out, size_t size, struct error *err)
{
    static const char SQL[] = "SELECT '[\"' || lot || '\"' FROM lot WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(id)), err);
    out[0] = '\0';
    if (db_next(&q))
        db_copy(&q, 0, out, size);
    return db_end(&q, 0);
}

int history_read(struct store *store, enum history_of of, int64_t id, history_each each, void *arg,
                 struct error *err)
{
    static const char OF_CASE[] = WITH_OWN LOGGED(OWN) CHANGED(OWN) ERASED(OWN)
        MAILED VERDICTS HELD_OF_CASE MEASURED("(SELECT lot_id FROM complaint_case WHERE id = ?1)")
            ACTIONS ATTACHED("case_id = ?1 OR complaint_id IN (" OWN ")") FOLLOWED_CASE IN_ORDER;
    static const char OF_COMPLAINT[] = LOGGED(COMPLAINT) CHANGED(COMPLAINT) ERASED(COMPLAINT)
        ATTACHED("complaint_id = ?1") FOLLOWED_COMPLAINT IN_ORDER;
    static const char OF_ONE_LOT[] = RECORDS OF_LOT HELD("h.lot_id = ?1") MEASURED("?1") IN_ORDER;
    static const char *const SQL[] = {OF_CASE, OF_COMPLAINT, OF_ONE_LOT};
    char key[160] = "";
    int rc = of == HISTORY_LOT ? key_of_lot(store, id, key, sizeof key, err) : 0;
    if (rc)
        return rc;
    struct db_query q = of == HISTORY_LOT
                            ? db_query(store, SQL[of], DB(DB_INT(id), DB_TEXT(key)), err)
                            : db_query(store, SQL[of], DB(DB_INT(id)), err);
    db_keep(&q); /* callbacks ask for contacts */
    while (!rc && db_next(&q)) {
        const struct history_row row = {.at_ms = db_ms(&q, 0),
                                        .by = db_text(&q, 1),
                                        .what = db_text(&q, 2),
                                        .about = db_text(&q, 3),
                                        .field = db_text(&q, 4),
                                        .was = db_text(&q, 5),
                                        .is = db_text(&q, 6),
                                        .why = db_text(&q, 7),
                                        .change_id = db_int64(&q, 8)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}
