#include "store/verdict.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/ranking.h"

static int case_set_state(struct store *store, int64_t case_id, const char *state,
                          struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET state = ?2 WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_text(st, 2, state);
    return db_run(store, st, err);
}

int verdict_add(struct store *store, int64_t case_id, const char *cause, const char *confirmed_by,
                const char *note, const char *by_name, int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO verdict(case_id, cause, confirmed_by, note, by_name, at_ms, revision)"
        " SELECT ?1, ?2, ?3, ?4, ?5, ?6, revision FROM complaint_case WHERE id = ?1";
    static const char SQL_KEEP[] = "UPDATE ranking SET kept = 1 WHERE case_id = ?1 AND revision ="
                                   " (SELECT revision FROM complaint_case WHERE id = ?1)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_text(st, 2, cause);
    db_bind_text(st, 3, confirmed_by);
    db_bind_text(st, 4, note);
    db_bind_text(st, 5, by_name);
    db_bind_ms(st, 6, now_ms);
    struct error refused = {0};
    int rc = db_run(store, st, &refused);
    if (rc == ERROR_CONFLICT) {
        error_set(err, rc, "case C%lld is settled already", (long long)case_id);
        error_hint(err, "reopen it first: oddloaf settle C%lld --reopen", (long long)case_id);
        return rc;
    }
    if (rc) {
        if (err && !err->code)
            *err = refused;
        return rc;
    }
    st = db_prepare(store, SQL_KEEP, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    rc = db_run(store, st, err);
    if (!rc)
        rc = case_set_state(store, case_id, "settled", err);
    if (!rc)
        rc = pattern_verdict_given(store, case_id, err);
    return rc ? rc : pattern_case_changed(store, case_id, err);
}

int verdict_reopen(struct store *store, int64_t case_id, const char *note, const char *by_name,
                   int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "UPDATE verdict SET reopened_ms = ?2, note = coalesce(note, '') || char(10) ||"
        " 'reopened by ' || ?3 || ': ' || coalesce(?4, '') WHERE case_id = ?1 AND reopened_ms IS "
        "NULL";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_ms(st, 2, now_ms);
    db_bind_text(st, 3, by_name);
    db_bind_text(st, 4, note);
    int rc = db_run(store, st, err);
    if (!rc && sqlite3_changes(db_handle(store)) == 0)
        return error_set(err, ERROR_NOT_FOUND, "case C%lld has no verdict to reopen",
                         (long long)case_id);
    if (!rc)
        rc = case_set_state(store, case_id, "open", err);
    return rc ? rc : pattern_case_changed(store, case_id, err);
}

int verdict_serial(struct store *store, int64_t *ret, struct error *err)
{
    /* ids grow and no verdict is deleted; among equal newest ids, fewer stand the more were
     * reopened */
    static const char SQL[] = "SELECT coalesce(max(id), 0) * 16777216 -"
                              " (SELECT count(*) FROM verdict WHERE reopened_ms IS NULL)"
                              " FROM verdict";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret = sqlite3_column_int64(st, 0);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

#define VERDICT_COLUMNS                                                                            \
    "SELECT v.id, v.case_id, v.at_ms, c.as_of_ms, c.opened_ms, v.revision, c.symptom, v.cause,"    \
    " v.confirmed_by, v.by_name, v.note, r.body FROM verdict v JOIN complaint_case c"              \
    " ON c.id = v.case_id LEFT JOIN ranking r ON r.case_id = v.case_id"                            \
    " AND r.revision = v.revision "

static int each_verdict(struct store *store, sqlite3_stmt *st, verdict_each each, void *arg,
                        struct error *err)
{
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct verdict_row row = {.id = sqlite3_column_int64(st, 0),
                                  .case_id = sqlite3_column_int64(st, 1),
                                  .at_ms = db_ms(st, 2),
                                  .as_of_ms = db_ms(st, 3),
                                  .opened_ms = db_ms(st, 4),
                                  .revision = sqlite3_column_int(st, 5),
                                  .ranking_body = db_text(st, 11)};
        text_clip(db_text(st, 6), row.symptom, sizeof row.symptom);
        text_clip(db_text(st, 7), row.cause, sizeof row.cause);
        text_clip(db_text(st, 8), row.confirmed_by, sizeof row.confirmed_by);
        text_clip(db_text(st, 9), row.by_name, sizeof row.by_name);
        text_clip(db_text(st, 10), row.note, sizeof row.note);
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int verdict_between(struct store *store, int64_t from_ms, int64_t to_ms, verdict_each each,
                    void *arg, struct error *err)
{
    static const char SQL[] = VERDICT_COLUMNS "WHERE v.reopened_ms IS NULL AND v.at_ms >= ?1"
                                              " AND v.at_ms < ?2 ORDER BY v.at_ms, v.id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, from_ms);
    db_bind_ms(st, 2, to_ms);
    return each_verdict(store, st, each, arg, err);
}

int verdict_of_case(struct store *store, int64_t case_id, verdict_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] = VERDICT_COLUMNS "WHERE v.reopened_ms IS NULL AND v.case_id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return each_verdict(store, st, each, arg, err);
}
