#include "store/hold.h"
#include "store/db.h"

int hold_add(struct store *store, int64_t lot_id, const char *what, const char *disposition,
             const char *reason, const char *by_name, int64_t now_ms, struct error *err)
{
    static const char SQL[] = "INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    return db_run(store, SQL,
                  DB(DB_INT(lot_id), DB_TEXT(what), DB_TEXT(disposition), DB_TEXT(reason),
                     DB_TEXT(by_name), DB_MS(now_ms)),
                  err);
}

int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT what, disposition, reason, by_name, at_ms FROM hold"
                              " WHERE lot_id = ?1 ORDER BY at_ms DESC, id DESC LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    if (db_next(&q)) {
        db_copy(&q, 0, ret->what, sizeof ret->what);
        db_copy(&q, 1, ret->disposition, sizeof ret->disposition);
        db_copy(&q, 2, ret->reason, sizeof ret->reason);
        db_copy(&q, 3, ret->by_name, sizeof ret->by_name);
        ret->at_ms = db_ms(&q, 4);
    }
    int rc = db_end(&q, 0);
    return rc || q.rows ? rc : ERROR_NOT_FOUND; /* most lots were never held: no error text */
}
