#include "store/work.h"
#include "store/db.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

int work_add(struct store *store, const char *kind, int64_t subject_id, int64_t due_ms,
             struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO work(kind, subject_id, due_ms) VALUES(?1, ?2, ?3)"
        " ON CONFLICT(kind, subject_id) DO UPDATE SET seq = work.seq + 1, attempts = 0,"
        " due_ms = CASE WHEN"
        " excluded.due_ms < work.due_ms THEN excluded.due_ms ELSE work.due_ms END";
    return db_run(store, SQL, DB(DB_TEXT(kind), DB_INT(subject_id), DB_MS(due_ms)), err);
}

int work_due(struct store *store, const char *kind, int64_t now_ms, struct work_rows *ret,
             struct error *err)
{
    assert(ret->row && ret->capacity > 0);
    static const char SQL[] = "SELECT subject_id, due_ms, seq, attempts FROM work"
                              " WHERE kind = ?1 AND (due_ms <= ?2 OR due_ms - ?3 > ?2)"
                              " ORDER BY due_ms LIMIT ?4";
    struct db_query q = db_query(
        store, SQL, DB(DB_TEXT(kind), DB_MS(now_ms), DB_INT(WORK_LATEST_MS), DB_INT(ret->capacity)),
        err);
    while (db_next(&q))
        ret->row[q.rows - 1] =
            (struct work_row){db_int64(&q, 0), db_ms(&q, 1), db_int64(&q, 2), db_int(&q, 3)};
    ret->count = q.rows;
    return db_end(&q, 0);
}

int work_waits(struct store *store, const char *kind, int64_t subject_id, bool *ret,
               struct error *err)
{
    static const char SQL[] =
        "SELECT EXISTS(SELECT 1 FROM work WHERE kind = ?1 AND subject_id = ?2)";
    int64_t found = 0;
    int rc = db_number(store, SQL, DB(DB_TEXT(kind), DB_INT(subject_id)), &found, err);
    *ret = found != 0;
    return rc;
}

int work_since(struct store *store, int64_t day, int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT coalesce(min(subject_id), -1) FROM work WHERE kind = 'since'"
                              " AND subject_id <= ?1";
    return db_number(store, SQL, DB(DB_INT(day)), ret, err);
}

int work_done(struct store *store, const char *kind, const struct work_row *row, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "DELETE FROM work WHERE kind = ?1 AND subject_id = ?2 AND seq = ?3";
    return db_run(store, SQL, DB(DB_TEXT(kind), DB_INT(row->subject_id), DB_INT(row->seq)), err);
}

int work_stands(struct store *store, const char *kind, const struct work_row *row, bool *ret,
                struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM work WHERE kind = ?1 AND subject_id = ?2"
                              " AND (seq > ?3 OR (seq = ?3 AND due_ms = ?4))";
    int64_t found = 0;
    int rc =
        db_number(store, SQL,
                  DB(DB_TEXT(kind), DB_INT(row->subject_id), DB_INT(row->seq), DB_INT(row->due_ms)),
                  &found, err);
    *ret = found != 0;
    return rc;
}

int work_newest(struct store *store, const char *kind, int64_t now_ms, int64_t *ret,
                struct error *err)
{
    static const char SQL[] =
        "SELECT coalesce(max(due_ms), 0) FROM work WHERE kind = ?1 AND due_ms <= ?2";
    return db_number(store, SQL, DB(DB_TEXT(kind), DB_MS(now_ms)), ret, err);
}

int work_retry(struct store *store, const char *kind, const struct work_row *row, int64_t due_ms,
               struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE work SET due_ms = ?4, attempts = attempts + 1"
                              " WHERE kind = ?1 AND subject_id = ?2 AND seq = ?3";
    return db_run(store, SQL,
                  DB(DB_TEXT(kind), DB_INT(row->subject_id), DB_INT(row->seq), DB_MS(due_ms)), err);
}

int work_count(struct store *store, const char *kind, int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM work WHERE kind = ?1";
    return db_number(store, SQL, DB(DB_TEXT(kind)), ret, err);
}

int work_rank_open_cases(struct store *store, int64_t due_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO work(kind, subject_id, due_ms) SELECT 'rank', id, ?1"
                              " FROM complaint_case WHERE state = 'open' AND complaints > 0"
                              " ON CONFLICT(kind, subject_id) DO UPDATE SET seq = work.seq + 1,"
                              " due_ms = excluded.due_ms";
    return db_run(store, SQL, DB(DB_MS(due_ms)), err);
}

/* In order of packing what is known of one case's days serves the next: all that is due at once is
 * taken by its time. */
static int rank_again(struct store *store, int64_t since_ms, int64_t due_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO work(kind, subject_id, due_ms) SELECT 'again', c.id,"
        " CASE WHEN l.packed_from_ms < ?1 THEN l.packed_from_ms WHEN c.opened_ms < ?1 THEN"
        " c.opened_ms ELSE ?1 END FROM complaint_case c LEFT JOIN lot l ON l.id = c.lot_id"
        " WHERE c.state = 'open' AND c.complaints > 0 AND c.as_of_ms >= ?2"
        " AND NOT EXISTS(SELECT 1 FROM work w WHERE w.kind IN ('rank', 'bulk') AND w.subject_id = "
        "c.id)"
        " ON CONFLICT(kind, subject_id) DO UPDATE SET seq = work.seq + 1,"
        " due_ms = excluded.due_ms";
    return db_run(store, SQL, DB(DB_MS(due_ms), DB_INT(since_ms)), err);
}

int work_rank_since(struct store *store, int32_t day, int64_t due_ms, struct error *err)
{
    assert(store_writing(store));
    return rank_again(store, day * WHEN_DAY_MS, due_ms, err);
}

int work_rank_by(struct store *store, const char *by, int64_t due_ms, struct error *err)
{
    static const char KEY[] = "ranked/by";
    char *was = NULL;
    int rc = store_setting_get(store, KEY, &was, err);
    bool same = was && strcmp(was, by) == 0;
    free(was);
    if (rc || same)
        return rc;
    rc = rank_again(store, INT64_MIN, due_ms, err);
    return rc ? rc : store_setting_set(store, KEY, by, err);
}
