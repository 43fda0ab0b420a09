#include "store/ranking.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include <stdlib.h>
#include <string.h>

void ranking_row_free(struct ranking_row *row)
{
    free(row->rules);
    free(row->body);
    row->rules = row->body = NULL;
}

static int ranking_drop_unkept(struct store *store, int64_t case_id, struct error *err)
{
    static const char SQL[] = "DELETE FROM ranking WHERE case_id = ?1 AND kept = 0";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return db_run(store, st, err);
}

static int case_take_ranking(struct store *store, int64_t case_id, const char *top_cause,
                             double top_probability, int *ret_revision, struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET revision = revision + 1, top_cause = ?2,"
                              " top_probability = ?3 WHERE id = ?1 RETURNING revision";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_text(st, 2, top_cause);
    db_bind_real(st, 3, top_probability);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret_revision = sqlite3_column_int(st, 0);
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no case C%lld", (long long)case_id);
    return rc < 0 ? rc : 0;
}

int ranking_save(struct store *store, int64_t case_id, int64_t as_of_ms, int complaints,
                 const char *rules, const char *body, const char *top_cause, double top_probability,
                 bool kept, int *ret_revision, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO ranking(case_id, revision, as_of_ms, rules, kept, complaints, body)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    int revision = 0;
    int rc = ranking_drop_unkept(store, case_id, err);
    if (!rc)
        rc = case_take_ranking(store, case_id, top_cause, top_probability, &revision, err);
    sqlite3_stmt *st = rc ? NULL : db_prepare(store, SQL, err);
    if (!st)
        return rc ? rc : ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_int(st, 2, revision);
    db_bind_ms(st, 3, as_of_ms);
    db_bind_text(st, 4, rules);
    db_bind_int(st, 5, kept);
    db_bind_int(st, 6, complaints);
    db_bind_text(st, 7, body);
    rc = db_run(store, st, err);
    if (!rc)
        *ret_revision = revision;
    return rc ? rc : pattern_case_changed(store, case_id, err);
}

static int ranking_read(struct store *store, sqlite3_stmt *st, struct ranking_row *ret,
                        struct error *err)
{
    int rc = db_step(store, st, err);
    if (rc == 1) {
        *ret = (struct ranking_row){.case_id = sqlite3_column_int64(st, 0),
                                    .revision = sqlite3_column_int(st, 1),
                                    .as_of_ms = db_ms(st, 2),
                                    .rules = xstrdup(db_text(st, 3)),
                                    .kept = sqlite3_column_int(st, 4) != 0,
                                    .complaints = sqlite3_column_int(st, 5),
                                    .body = xstrdup(db_text(st, 6))};
    }
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no such ranking");
    return rc < 0 ? rc : 0;
}

#define RANKING_COLUMNS                                                                            \
    "SELECT r.case_id, r.revision, r.as_of_ms, r.rules, r.kept, r.complaints, r.body FROM "        \
    "ranking r "

int ranking_get(struct store *store, int64_t case_id, int revision, struct ranking_row *ret,
                struct error *err)
{
    static const char SQL[] = RANKING_COLUMNS "WHERE r.case_id = ?1 AND (?2 = 0 OR r.revision = ?2)"
                                              " ORDER BY r.revision DESC LIMIT 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_int(st, 2, revision);
    return ranking_read(store, st, ret, err);
}

int ranking_last_mailed(struct store *store, int64_t case_id, struct ranking_row *ret,
                        struct error *err)
{
    static const char SQL[] = RANKING_COLUMNS
        "WHERE r.case_id = ?1 AND r.revision = (SELECT max(o.revision) FROM outbox o"
        " WHERE o.case_id = ?1 AND o.event = 'case')";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return ranking_read(store, st, ret, err);
}
