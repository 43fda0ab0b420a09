#include "store/joined.h"
#include "base/text.h"
#include "store/db.h"

static int run_on(struct store *store, const char *sql, int64_t first, int64_t second,
                  struct error *err)
{
    sqlite3_stmt *st = db_prepare(store, sql, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, first);
    if (second > 0)
        db_bind_int(st, 2, second);
    return db_run(store, st, err);
}

int joined_add(struct store *store, const struct joined_row *row, struct error *err)
{
    static const char SQL_FIRST[] = "INSERT OR IGNORE INTO joined_first(complaint_id, body)"
                                    " SELECT id, body FROM complaint WHERE id = ?1";
    static const char SQL[] = "INSERT INTO joined(uuid, complaint_id, received_ms, logged_ms,"
                              " joined_ms, body) VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    int rc = run_on(store, SQL_FIRST, row->complaint_id, 0, err);
    if (rc)
        return rc;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, row->uuid);
    db_bind_int(st, 2, row->complaint_id);
    db_bind_ms(st, 3, row->received_ms);
    db_bind_ms(st, 4, row->logged_ms);
    db_bind_ms(st, 5, row->joined_ms);
    db_bind_text(st, 6, row->body);
    return db_run(store, st, err);
}

int joined_remove(struct store *store, const char *uuid, struct error *err)
{
    static const char SQL[] = "DELETE FROM joined WHERE uuid = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, uuid);
    return db_run(store, st, err);
}

int joined_move(struct store *store, int64_t complaint_id, int64_t to_complaint_id,
                struct error *err)
{
    static const char SQL[] = "UPDATE joined SET complaint_id = ?2 WHERE complaint_id = ?1";
    static const char SQL_CONTACT[] =
        "UPDATE contact SET complaint_id = ?2 WHERE complaint_id = ?1 AND report <> ''";
    int rc = run_on(store, SQL, complaint_id, to_complaint_id, err);
    if (!rc)
        rc = run_on(store, SQL_CONTACT, complaint_id, to_complaint_id, err);
    return rc ? rc : joined_first_remove(store, complaint_id, err);
}

/* ---- reading ---- */

#define JOINED_COLUMNS                                                                             \
    "SELECT j.uuid, j.complaint_id, j.received_ms, j.logged_ms, j.joined_ms, j.body, c.uuid"       \
    " FROM joined j JOIN complaint c ON c.id = j.complaint_id "

static int each_row(struct store *store, sqlite3_stmt *st, joined_each each, void *arg,
                    int *ret_rows, struct error *err)
{
    int rc;
    *ret_rows = 0;
    while ((rc = db_step(store, st, err)) == 1) {
        const struct joined_row row = {.uuid = db_text(st, 0),
                                       .complaint_id = sqlite3_column_int64(st, 1),
                                       .received_ms = db_ms(st, 2),
                                       .logged_ms = db_ms(st, 3),
                                       .joined_ms = db_ms(st, 4),
                                       .body = db_text(st, 5),
                                       .complaint = db_text(st, 6)};
        ++*ret_rows;
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int joined_of(struct store *store, int64_t complaint_id, joined_each each, void *arg,
              struct error *err)
{
    static const char SQL[] = JOINED_COLUMNS "WHERE j.complaint_id = ?1 ORDER BY j.id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    int rows;
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    return each_row(store, st, each, arg, &rows, err);
}

int joined_of_case(struct store *store, int64_t case_id, joined_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        JOINED_COLUMNS "WHERE c.case_id = ?1 ORDER BY c.received_ms, c.id, j.id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    int rows;
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return each_row(store, st, each, arg, &rows, err);
}

int joined_by_uuid(struct store *store, const char *uuid, joined_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] = JOINED_COLUMNS "WHERE j.uuid = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    int rows;
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, uuid);
    int rc = each_row(store, st, each, arg, &rows, err);
    if (!rc && rows == 0)
        return error_set(err, ERROR_NOT_FOUND, "%s is not joined to another complaint", uuid);
    return rc;
}

int joined_first(struct store *store, int64_t complaint_id, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT body FROM joined_first WHERE complaint_id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    int rc = db_step(store, st, err);
    *ret = rc == 1 ? xstrdup(db_text(st, 0)) : NULL;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int joined_first_remove(struct store *store, int64_t complaint_id, struct error *err)
{
    static const char SQL[] = "DELETE FROM joined_first WHERE complaint_id = ?1";
    return run_on(store, SQL, complaint_id, 0, err);
}
