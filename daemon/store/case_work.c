#include "store/case_work.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include <stdlib.h>
#include <string.h>

/* ---- work ---- */

int work_add(struct store *store, const char *kind, int64_t subject_id, int64_t due_ms,
             struct error *err)
{
    static const char SQL[] = "INSERT INTO work(kind, subject_id, due_ms) VALUES(?1, ?2, ?3)"
                              " ON CONFLICT DO UPDATE SET seq = seq + 1, attempts = 0,"
                              " due_ms = min(due_ms, excluded.due_ms)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, kind);
    db_bind_int(st, 2, subject_id);
    db_bind_ms(st, 3, due_ms);
    return db_run(store, st, err);
}

int work_due(struct store *store, const char *kind, int64_t now_ms, struct work_row *rows,
             int limit, int *ret_count, struct error *err)
{
    static const char SQL[] = "SELECT subject_id, due_ms, seq, attempts FROM work"
                              " WHERE kind = ?1 AND due_ms <= ?2 ORDER BY due_ms LIMIT ?3";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, kind);
    db_bind_ms(st, 2, now_ms);
    db_bind_int(st, 3, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1) {
        rows[count++] = (struct work_row){sqlite3_column_int64(st, 0), db_ms(st, 1),
                                          sqlite3_column_int64(st, 2), sqlite3_column_int(st, 3)};
    }
    db_reset(st);
    *ret_count = count;
    return rc;
}

int work_done(struct store *store, const char *kind, const struct work_row *row, struct error *err)
{
    static const char SQL[] = "DELETE FROM work WHERE kind = ?1 AND subject_id = ?2 AND seq = ?3";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, kind);
    db_bind_int(st, 2, row->subject_id);
    db_bind_int(st, 3, row->seq);
    return db_run(store, st, err);
}

int work_retry(struct store *store, const char *kind, const struct work_row *row, int64_t due_ms,
               struct error *err)
{
    static const char SQL[] = "UPDATE work SET due_ms = ?4, attempts = attempts + 1"
                              " WHERE kind = ?1 AND subject_id = ?2 AND seq = ?3";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, kind);
    db_bind_int(st, 2, row->subject_id);
    db_bind_int(st, 3, row->seq);
    db_bind_ms(st, 4, due_ms);
    return db_run(store, st, err);
}

int work_count(struct store *store, const char *kind, int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM work WHERE kind = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, kind);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret = sqlite3_column_int64(st, 0);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int work_rank_open_cases(struct store *store, int64_t due_ms, struct error *err)
{
    static const char SQL[] = "INSERT INTO work(kind, subject_id, due_ms) SELECT 'rank', id, ?1"
                              " FROM complaint_case WHERE state = 'open' AND complaints > 0"
                              " ON CONFLICT DO UPDATE SET seq = seq + 1, due_ms = excluded.due_ms";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, due_ms);
    return db_run(store, st, err);
}

/* ---- rankings ---- */

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

int ranking_keep(struct store *store, int64_t case_id, int revision, struct error *err)
{
    static const char SQL[] = "UPDATE ranking SET kept = 1 WHERE case_id = ?1 AND revision = ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_int(st, 2, revision);
    return db_run(store, st, err);
}

/* ---- verdicts ---- */

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

int verdict_counts(struct store *store, const char *symptom, verdict_count_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        "SELECT v.cause, count(*) FROM verdict v JOIN complaint_case c ON c.id = v.case_id"
        " WHERE v.reopened_ms IS NULL AND c.symptom = ?1 GROUP BY v.cause ORDER BY v.cause";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, symptom);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        rc = each(arg, db_text(st, 0), sqlite3_column_int64(st, 1));
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

/* ---- holds ---- */

int hold_add(struct store *store, int64_t lot_id, const char *what, const char *disposition,
             const char *reason, const char *by_name, int64_t now_ms, struct error *err)
{
    static const char SQL[] = "INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    db_bind_text(st, 2, what);
    db_bind_text(st, 3, disposition);
    db_bind_text(st, 4, reason);
    db_bind_text(st, 5, by_name);
    db_bind_ms(st, 6, now_ms);
    return db_run(store, st, err);
}

int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT what, disposition, reason, by_name, at_ms FROM hold"
                              " WHERE lot_id = ?1 ORDER BY at_ms DESC, id DESC LIMIT 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        text_clip(db_text(st, 0), ret->what, sizeof ret->what);
        text_clip(db_text(st, 1), ret->disposition, sizeof ret->disposition);
        text_clip(db_text(st, 2), ret->reason, sizeof ret->reason);
        text_clip(db_text(st, 3), ret->by_name, sizeof ret->by_name);
        ret->at_ms = db_ms(st, 4);
    }
    db_reset(st);
    if (rc == 0)
        return ERROR_NOT_FOUND;
    return rc < 0 ? rc : 0;
}

/* ---- corrective actions ---- */

int action_add(struct store *store, const struct action_row *action, int64_t *ret_id,
               struct error *err)
{
    static const char SQL[] =
        "INSERT INTO corrective_action(cause, line, place, symptom, at_ms, note, by_name, "
        "logged_ms)"
        " VALUES(nullif(?1,''), nullif(?2,''), nullif(?3,''), nullif(?4,''), ?5, ?6, ?7, ?8)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, action->cause);
    db_bind_text(st, 2, action->line);
    db_bind_text(st, 3, action->place);
    db_bind_text(st, 4, action->symptom);
    db_bind_ms(st, 5, action->at_ms);
    db_bind_text(st, 6, action->note);
    db_bind_text(st, 7, action->by_name);
    db_bind_ms(st, 8, action->logged_ms);
    int rc = db_run(store, st, err);
    if (!rc)
        *ret_id = sqlite3_last_insert_rowid(db_handle(store));
    return rc;
}

static void action_read(sqlite3_stmt *st, struct action_row *row)
{
    row->id = sqlite3_column_int64(st, 0);
    text_clip(db_text(st, 1), row->cause, sizeof row->cause);
    text_clip(db_text(st, 2), row->line, sizeof row->line);
    text_clip(db_text(st, 3), row->place, sizeof row->place);
    text_clip(db_text(st, 4), row->symptom, sizeof row->symptom);
    row->at_ms = db_ms(st, 5);
    text_clip(db_text(st, 6), row->note, sizeof row->note);
    text_clip(db_text(st, 7), row->by_name, sizeof row->by_name);
    row->logged_ms = db_ms(st, 8);
}

#define ACTION_COLUMNS                                                                             \
    "SELECT id, cause, line, place, symptom, at_ms, note, by_name, logged_ms FROM "                \
    "corrective_action "

int action_get(struct store *store, int64_t id, struct action_row *ret, struct error *err)
{
    static const char SQL[] = ACTION_COLUMNS "WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    int rc = db_step(store, st, err);
    if (rc == 1)
        action_read(st, ret);
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no action %lld", (long long)id);
    return rc < 0 ? rc : 0;
}

int action_list(struct store *store, action_each each, void *arg, struct error *err)
{
    static const char SQL[] = ACTION_COLUMNS "ORDER BY at_ms DESC, id DESC";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct action_row row;
        action_read(st, &row);
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

/* ---- outbox ---- */

void outbox_row_free(struct outbox_row *row)
{
    free(row->payload);
    row->payload = NULL;
}

int outbox_add(struct store *store, const char *event, int64_t case_id, int revision,
               const char *message_id, const char *payload, int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO outbox(event, case_id, revision, message_id, payload, created_ms, due_ms)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?6) ON CONFLICT(message_id) DO NOTHING";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, event);
    db_bind_id(st, 2, case_id);
    db_bind_int(st, 3, revision);
    db_bind_text(st, 4, message_id);
    db_bind_text(st, 5, payload);
    db_bind_ms(st, 6, now_ms);
    return db_run(store, st, err);
}

int outbox_due(struct store *store, int64_t now_ms, struct outbox_row *rows, int limit,
               int *ret_count, struct error *err)
{
    static const char SQL[] =
        "SELECT id, case_id, created_ms, due_ms, revision, attempts, event, message_id, payload"
        " FROM outbox WHERE state = 'waiting' AND due_ms <= ?1"
        " ORDER BY event = 'urgent' DESC, due_ms LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, now_ms);
    db_bind_int(st, 2, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1) {
        struct outbox_row *row = &rows[count++];
        *row = (struct outbox_row){.id = sqlite3_column_int64(st, 0),
                                   .case_id = sqlite3_column_int64(st, 1),
                                   .created_ms = db_ms(st, 2),
                                   .due_ms = db_ms(st, 3),
                                   .revision = sqlite3_column_int(st, 4),
                                   .attempts = sqlite3_column_int(st, 5),
                                   .payload = xstrdup(db_text(st, 8))};
        text_clip(db_text(st, 6), row->event, sizeof row->event);
        text_clip(db_text(st, 7), row->message_id, sizeof row->message_id);
    }
    db_reset(st);
    *ret_count = count;
    return rc;
}

int outbox_sent(struct store *store, int64_t id, int64_t now_ms, struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET state = 'sent', sent_ms = ?2, last_error = NULL"
                              " WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    db_bind_ms(st, 2, now_ms);
    return db_run(store, st, err);
}

int outbox_failed(struct store *store, int64_t id, int64_t due_ms, bool park, const char *why,
                  struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET attempts = attempts + 1, due_ms = ?2,"
                              " state = CASE WHEN ?3 THEN 'parked' ELSE 'waiting' END,"
                              " last_error = ?4 WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    db_bind_ms(st, 2, due_ms);
    db_bind_int(st, 3, park);
    db_bind_text(st, 4, why);
    return db_run(store, st, err);
}

int outbox_unpark(struct store *store, int64_t now_ms, int *ret_count, struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET state = 'waiting', due_ms = ?1, created_ms = ?1"
                              " WHERE state = 'parked'";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, now_ms);
    int rc = db_run(store, st, err);
    if (!rc)
        *ret_count = sqlite3_changes(db_handle(store));
    return rc;
}

int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FILTER (WHERE state = 'waiting'), count(*) FILTER (WHERE state = "
        "'parked'),"
        " count(*) FILTER (WHERE state = 'sent'), (SELECT last_error FROM outbox WHERE last_error"
        " IS NOT NULL AND state <> 'sent' ORDER BY due_ms DESC LIMIT 1) FROM outbox";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc == 1) {
        ret->waiting = sqlite3_column_int64(st, 0);
        ret->parked = sqlite3_column_int64(st, 1);
        ret->sent = sqlite3_column_int64(st, 2);
        text_clip(db_text(st, 3), ret->last_error, sizeof ret->last_error);
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}
