#include "store/noted.h"
#include "store/db.h"
#include "store/lot_find.h"

/* What one statement finds. Each is of plain look-ups: all of it asked at once, with a complaint's
 * cases looked up anew in every part, took as much as logging the complaint's words. */
static int each_of(struct db_query *q, noted_each each, void *arg)
{
    int rc = 0;
    db_keep(q); /* callbacks write what they read */
    while (!rc && db_next(q)) {
        const struct noted_row row = {.of = (enum noted_of)db_int(q, 0),
                                      .id = db_int64(q, 1),
                                      .text = db_text(q, 2),
                                      .end = db_text(q, 3)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

#define RESULTS(which)                                                                             \
    " UNION ALL SELECT 3, m.id, m.note, m.end_reason FROM measured m WHERE " which                 \
    " UNION ALL SELECT 4, m.id, m.said, m.method FROM measured m WHERE " which                     \
    " UNION ALL SELECT 7, m.id, m.lab, m.sample FROM measured m WHERE " which

static int about_lot(struct store *store, int64_t complaint_id, const char *fold, noted_each each,
                     void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT 0, h.id, h.reason, h.end_reason FROM complaint c JOIN hold h ON h.lot_id = c.lot_id"
        " WHERE c.id = ?1 UNION ALL SELECT 0, h.id, h.reason, h.end_reason FROM hold h WHERE"
        " h.lot_id IS NULL AND (h.fold = ?2 OR EXISTS(SELECT 1 FROM complaint c WHERE c.id = ?1"
        " AND " LOT_FIND_SAYS("c.lot_text", "h.fold") "))" RESULTS(
            "m.lot_id = (SELECT lot_id FROM complaint WHERE id = ?1)") " UNION ALL SELECT 5, t.id, "
                                                                       "t.name, t.end_reason FROM "
                                                                       "attached t WHERE "
                                                                       "t.complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(fold)), err);
    return each_of(&q, each, arg);
}

/* An action is about a case as history has it (history.c): about its line or cause, done since, or
 * on the day before: it is known by its day. */
static int about_case(struct store *store, int64_t case_id, noted_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT 0, h.id, h.reason, h.end_reason FROM hold h WHERE h.case_id = ?1" RESULTS(
            "m.case_id = ?1") " UNION ALL SELECT 5, t.id, t.name, t.end_reason FROM attached t "
                              "WHERE t.case_id = ?1"
                              " UNION ALL SELECT 1, v.id, v.note, NULL FROM verdict v WHERE "
                              "v.case_id = ?1"
                              " UNION ALL SELECT 6, e.id, e.text, NULL FROM follow_entry e WHERE "
                              "e.case_id = ?1"
                              " UNION ALL SELECT 2, a.id, a.note, NULL FROM complaint_case k JOIN "
                              "corrective_action a"
                              " ON a.at_ms > k.opened_ms - 86400000 AND (a.symptom IS NULL OR "
                              "a.symptom = k.symptom)"
                              " LEFT JOIN lot l ON l.id = k.lot_id WHERE k.id = ?1 AND (a.plant"
                              " = '' OR a.plant = k.plant) AND (a.line = "
                              "l.line OR a.cause IN"
                              " (SELECT v.cause FROM verdict v WHERE v.case_id = k.id))";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_of(&q, each, arg);
}

int noted_about(struct store *store, int64_t complaint_id, const char *code, noted_each each,
                void *arg, struct error *err)
{
    /* its case, and those that it was of */
    static const char SQL[] =
        "SELECT case_id FROM complaint WHERE id = ?1 UNION ALL SELECT CAST(substr(k.was, 2) AS"
        " INTEGER) FROM complaint c JOIN complaint_change k ON k.complaint = c.uuid WHERE c.id = ?1"
        " AND k.field = 'case'";
    char fold[LOT_FIND_CODE];
    int rc = about_lot(store, complaint_id, lot_find_fold(code, fold, sizeof fold), each, arg, err);
    if (rc)
        return rc;
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = about_case(store, db_int64(&q, 0), each, arg, err);
    return db_end(&q, rc);
}

int noted_rewrite(struct store *store, const struct noted_row *row, struct error *err)
{
    static const char SQL_HOLD[] = "UPDATE hold SET reason = ?2, end_reason = CASE WHEN end_reason"
                                   " IS NOT NULL THEN ?3 END WHERE id = ?1";
    static const char SQL_VERDICT[] =
        "UPDATE verdict SET note = ?2 WHERE id = ?1 AND ?3 IS NOT NULL";
    static const char SQL_ACTION[] =
        "UPDATE corrective_action SET note = ?2 WHERE id = ?1 AND ?3 IS NOT NULL";
    static const char SQL_FOLLOW[] =
        "UPDATE follow_entry SET text = ?2 WHERE id = ?1 AND ?3 IS NOT NULL";
    static const char SQL_RESULT[] = "UPDATE measured SET note = ?2, end_reason = CASE WHEN"
                                     " end_reason IS NOT NULL THEN ?3 END WHERE id = ?1";
    static const char SQL_METHOD[] = "UPDATE measured SET said = ?2, method = ?3 WHERE id = ?1";
    /* two that are one without the name stay two */
    static const char SQL_LAB[] =
        "UPDATE measured SET lab = ?2, sample = CASE WHEN EXISTS(SELECT 1 FROM measured o WHERE"
        " o.lot_id = measured.lot_id AND o.quantity = measured.quantity AND o.id <> ?1 AND o.lab = "
        "?2"
        " AND o.sample = ?3 AND o.ended_ms IS NULL) THEN ?3 || ' ' || ?1 ELSE ?3 END WHERE id = ?1";
    static const char SQL_FILE[] =
        "UPDATE attached SET name = ?2, end_reason = CASE WHEN end_reason"
        " IS NOT NULL THEN ?3 END WHERE id = ?1";
    static const char *const SQL[] = {
        [NOTED_HOLD] = SQL_HOLD,     [NOTED_VERDICT] = SQL_VERDICT, [NOTED_ACTION] = SQL_ACTION,
        [NOTED_RESULT] = SQL_RESULT, [NOTED_METHOD] = SQL_METHOD,   [NOTED_FILE] = SQL_FILE,
        [NOTED_FOLLOW] = SQL_FOLLOW, [NOTED_LAB] = SQL_LAB};
    return db_run(store, SQL[row->of], DB(DB_INT(row->id), DB_TEXT(row->text), DB_TEXT(row->end)),
                  err);
}
