#include "store/hold.h"
#include "store/db.h"
#include "store/lot_find.h"

int hold_add(struct store *store, const struct hold_of *of, const struct hold_row *entry,
             struct error *err)
{
    static const char SQL[] = "INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    static const char SQL_CODE[] = "INSERT INTO code_hold(code, fold, what, disposition, reason,"
                                   " by_name, at_ms) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    char fold[LOT_FIND_CODE];
    if (of->lot_id)
        return db_run(store, SQL,
                      DB(DB_INT(of->lot_id), DB_TEXT(entry->what), DB_SAID(entry->disposition),
                         DB_TEXT(entry->reason), DB_TEXT(entry->by_name), DB_MS(entry->at_ms)),
                      err);
    lot_find_fold(of->code, fold, sizeof fold);
    return db_run(store, SQL_CODE,
                  DB(DB_TEXT(of->code), DB_TEXT(fold), DB_TEXT(entry->what),
                     DB_SAID(entry->disposition), DB_TEXT(entry->reason), DB_TEXT(entry->by_name),
                     DB_MS(entry->at_ms)),
                  err);
}

int hold_take_code(struct store *store, int64_t lot_id, struct error *err)
{
    static const char SQL_TAKE[] =
        "INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
        " SELECT l.id, c.what, c.disposition, c.reason, c.by_name, c.at_ms FROM lot l"
        " JOIN code_hold c ON c.fold = l.fold WHERE l.id = ?1 ORDER BY c.at_ms, c.id";
    static const char SQL_DROP[] =
        "DELETE FROM code_hold WHERE fold = (SELECT fold FROM lot WHERE id = ?1)";
    int rc = db_run(store, SQL_TAKE, DB(DB_INT(lot_id)), err);
    return rc || !db_changes(store) ? rc : db_run(store, SQL_DROP, DB(DB_INT(lot_id)), err);
}

static int read_newest(struct db_query *q, struct hold_row *ret)
{
    if (db_next(q)) {
        db_copy(q, 0, ret->what, sizeof ret->what);
        db_copy(q, 1, ret->disposition, sizeof ret->disposition);
        db_copy(q, 2, ret->reason, sizeof ret->reason);
        db_copy(q, 3, ret->by_name, sizeof ret->by_name);
        ret->at_ms = db_ms(q, 4);
    }
    int rc = db_end(q, 0);
    return rc || q->rows ? rc : ERROR_NOT_FOUND; /* most lots were never held: no error text */
}

int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT what, disposition, reason, by_name, at_ms FROM hold"
                              " WHERE lot_id = ?1 ORDER BY at_ms DESC, id DESC LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    return read_newest(&q, ret);
}

int hold_of_code(struct store *store, const char *code, struct hold_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT what, disposition, reason, by_name, at_ms FROM code_hold"
                              " WHERE fold = ?1 ORDER BY at_ms DESC, id DESC LIMIT 1";
    char fold[LOT_FIND_CODE];
    struct db_query q =
        db_query(store, SQL, DB(DB_TEXT(lot_find_fold(code, fold, sizeof fold))), err);
    return read_newest(&q, ret);
}

int hold_each_standing(struct store *store, int64_t until_ms, hold_each each, void *arg,
                       struct error *err)
{
    static const char SQL[] =
        "SELECT l.lot, h.reason, h.by_name, l.units, h.at_ms, l.code_day FROM hold h JOIN lot l"
        " ON l.id = h.lot_id WHERE h.what = 'hold' AND h.at_ms < ?1 AND NOT EXISTS (SELECT 1"
        " FROM hold n WHERE n.lot_id = h.lot_id AND n.at_ms < ?1 AND (n.at_ms > h.at_ms OR"
        " (n.at_ms = h.at_ms AND n.id > h.id))) UNION ALL SELECT h.code, h.reason, h.by_name, 0, "
        "h.at_ms, NULL FROM"
        " code_hold h WHERE h.what = 'hold' AND h.at_ms < ?1 AND NOT EXISTS (SELECT 1 FROM"
        " code_hold n WHERE n.fold = h.fold AND n.at_ms < ?1 AND (n.at_ms > h.at_ms OR"
        " (n.at_ms = h.at_ms AND n.id > h.id))) ORDER BY 5, 1";
    struct db_query q = db_query(store, SQL, DB(DB_MS(until_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct hold_standing row = {db_text(&q, 0),  db_text(&q, 1), db_text(&q, 2),
                                    db_int64(&q, 3), db_ms(&q, 4),   db_day(&q, 5)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}
