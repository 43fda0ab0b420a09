#include "store/work.h"
#include "store/db.h"
#include <string.h>

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
