#include "store/record_find.h"
#include "store/db.h"

int record_find_lot(struct store *store, const char *lot, int64_t *ret_id, int64_t *ret_packed_ms,
                    struct error *err)
{
    static const char SQL_LOT[] = "SELECT id, packed_to_ms FROM lot WHERE lot = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL_LOT, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, lot);
    int rc = db_step(store, st, err);
    if (rc >= 0) {
        *ret_id = rc ? sqlite3_column_int64(st, 0) : 0;
        *ret_packed_ms = rc ? sqlite3_column_int64(st, 1) : WHEN_UNKNOWN_MS;
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int record_find_product(struct store *store, const char *product, int64_t *ret_id,
                        struct error *err)
{
    static const char SQL_PRODUCT[] = "SELECT id FROM product WHERE product = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL_PRODUCT, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, product);
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret_id = rc ? sqlite3_column_int64(st, 0) : 0;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int record_touch_lot(struct store *store, int64_t lot_id, int64_t due_ms, struct error *err)
{
    static const char SQL_TOUCH[] =
        "INSERT INTO work(kind, subject_id, due_ms)"
        " SELECT 'rank', id, ?2 FROM complaint_case WHERE lot_id = ?1 AND state = 'open'"
        " UNION SELECT 'rank', k.id, ?2 FROM complaint_lot l"
        "  JOIN complaint c ON c.id = l.complaint_id"
        "  JOIN complaint_case k ON k.id = c.case_id"
        "  WHERE l.lot_id = ?1 AND c.lot_id IS NULL AND k.state = 'open'"
        " ON CONFLICT DO UPDATE SET seq = seq + 1, due_ms = excluded.due_ms";
    sqlite3_stmt *st = db_prepare(store, SQL_TOUCH, err);
    if (!st)
        return ERROR_IO;
    db_bind_id(st, 1, lot_id);
    db_bind_ms(st, 2, due_ms);
    return db_run(store, st, err);
}

int record_replaced_list(struct store *store, enum record_kind kind, const char *key,
                         record_replaced_each each, void *arg, struct error *err)
{
    static const char SQL_LIST[] = "SELECT replaced_ms, was, source FROM replaced_row"
                                   " WHERE kind = ?1 AND substr(row_key, 1, length(?2)) = ?2"
                                   " ORDER BY id";
    sqlite3_stmt *st = db_prepare(store, SQL_LIST, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, record_table(kind)->kind);
    db_bind_text(st, 2, key);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct record_replaced row = {sqlite3_column_int64(st, 0), db_text(st, 1), db_text(st, 2)};
        int stop = each(arg, &row);
        if (stop) {
            rc = stop;
            break;
        }
    }
    db_reset(st);
    return rc;
}
